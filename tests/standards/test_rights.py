"""Rights statements against the published lists."""

from imaging.compute.rights import CC_URIS, RIGHTS_STATEMENT_CODES, RIGHTS_URIS

#: rightsstatements.org, "The statements": twelve, http://rightsstatements.org/vocab/CODE/1.0/ (codes from memory).
PUBLISHED = "InC InC-OW-EU InC-EDU InC-NC InC-RUU NoC-CR NoC-NC NoC-OKLR NoC-US CNE UND NKC"


def test_the_twelve_statements_are_those_published():
    assert sorted(RIGHTS_STATEMENT_CODES) == sorted(PUBLISHED.split())


def test_every_uri_is_written_with_http_as_the_statements_and_iiif_readers_want_it():
    assert all(uri.startswith("http://") and uri.endswith("/") for uri in RIGHTS_URIS)


def test_the_six_licences_and_two_dedications_of_creative_commons_are_there():
    licences = {uri.split("/")[4] for uri in CC_URIS if "/licenses/" in uri}
    assert licences == {"by", "by-sa", "by-nc", "by-nd", "by-nc-sa", "by-nc-nd"}
    assert {uri.split("/")[4] for uri in CC_URIS if "/publicdomain/" in uri} == {"zero", "mark"}
