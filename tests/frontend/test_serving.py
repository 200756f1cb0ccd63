"""Unsafe ways of serving are refused, each by name; ports and certificates are checked first."""

import dataclasses
import os
import socket
from pathlib import Path

import pytest
from cryptography import x509

from frontend.installation.refusal import InstallationError
from frontend.processes.certificates import make_own_certificate, refuse_unfit_certificate
from frontend.processes.listening import Listening, set_likely_address
from frontend.processes.ports import is_loopback, refuse_used_port
from frontend.serving_safety import ServingSettings, unsafe_settings

SAFE = ServingSettings(
    host="0.0.0.0",
    has_certificate=True,
    is_behind_proxy=False,
    public_address="https://images.example.org",
    allowed_hosts=("images.example.org",),
    secret_key="k" * 50,
    is_secret_key_default=False,
    is_debug=False,
)
ONLY_HERE = dataclasses.replace(
    SAFE,
    host="127.0.0.1",
    has_certificate=False,
    public_address="http://127.0.0.1:8000",
    allowed_hosts=("localhost",),
    is_secret_key_default=True,
    is_debug=True,
)


def test_safe_settings_may_be_served():
    assert unsafe_settings(SAFE) == []
    assert unsafe_settings(dataclasses.replace(SAFE, has_certificate=False, is_behind_proxy=True)) == []


def test_on_this_machine_only_everything_is_allowed():
    assert unsafe_settings(ONLY_HERE) == []


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"is_secret_key_default": True}, "MAHLSTICK_SECRET_KEY"),
        ({"secret_key": "short"}, "MAHLSTICK_SECRET_KEY"),
        ({"is_debug": True}, "MAHLSTICK_DEBUG"),
        ({"allowed_hosts": ("*",)}, "MAHLSTICK_HOSTS"),
        ({"allowed_hosts": ("127.0.0.1", "[::1]")}, "MAHLSTICK_HOSTS"),
        ({"allowed_hosts": ()}, "MAHLSTICK_HOSTS"),
        ({"has_certificate": False}, "MAHLSTICK_BEHIND_PROXY"),
        ({"public_address": "http://images.example.org"}, "MAHLSTICK_ADDRESS"),
    ],
)
def test_one_unsafe_setting_is_enough_to_be_refused(change, named):
    found = unsafe_settings(dataclasses.replace(SAFE, **change))
    assert len(found) == 1
    assert named in found[0]


@pytest.mark.parametrize(
    "change", [{"host": "192.0.2.7"}, {"is_behind_proxy": True}, {"public_address": "https://images.example.org"}]
)
def test_whatever_lets_others_in_makes_the_rules_apply(change):
    assert len(unsafe_settings(dataclasses.replace(ONLY_HERE, **change))) >= 3


@pytest.mark.parametrize(
    ("host", "loopback"),
    [
        ("127.0.0.1", True),
        ("127.9.9.9", True),
        ("[::1]", True),
        ("localhost", True),
        ("0.0.0.0", False),
        ("x.org", False),
    ],
)
def test_loopback_is_told_from_the_rest(host, loopback):
    assert is_loopback(host) is loopback


def test_a_used_port_is_named_with_the_next_one():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(InstallationError, match=rf"Port {port} .* in use .* --port {port + 1}"):
            refuse_used_port("127.0.0.1", port)
    refuse_used_port("127.0.0.1", port)


def test_an_address_of_another_machine_is_refused():
    with pytest.raises(InstallationError, match=r"192\.0\.2\.1 is not an address of this machine"):
        refuse_used_port("192.0.2.1", 8000)


def test_an_own_certificate_names_its_hosts_and_is_kept(tmp_path):
    certificate, key = make_own_certificate(tmp_path, hosts=["192.0.2.7", "painting-room"])
    refuse_unfit_certificate(certificate, key)
    loaded = x509.load_pem_x509_certificate(certificate.read_bytes())
    names = loaded.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert names.get_values_for_type(x509.DNSName) == ["painting-room"]
    assert [str(address) for address in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7"]
    assert key.stat().st_mode & 0o077 == 0
    before = certificate.read_bytes()
    make_own_certificate(tmp_path, hosts=["192.0.2.7", "painting-room"])
    assert certificate.read_bytes() == before
    make_own_certificate(tmp_path, hosts=["192.0.2.8"])
    assert certificate.read_bytes() != before


def test_a_certificate_with_the_key_of_another_is_refused(tmp_path):
    certificate, _ = make_own_certificate(tmp_path / "one", hosts=["one"])
    _, other_key = make_own_certificate(tmp_path / "other", hosts=["other"])
    with pytest.raises(InstallationError, match="do not belong together"):
        refuse_unfit_certificate(certificate, other_key)


def test_a_key_in_another_form_gets_the_line_that_converts_it(tmp_path):
    certificate, key = make_own_certificate(tmp_path, hosts=["one"])
    key.write_text(key.read_text().replace("PRIVATE", "EC PRIVATE"))
    with pytest.raises(InstallationError, match="openssl pkcs8 -topk8"):
        refuse_unfit_certificate(certificate, key)


@pytest.mark.parametrize(
    ("arguments", "hosts", "address"),
    [
        ([], "", "http://127.0.0.1:8000"),
        (["--port", "8443", "--certificate", "c", "--key", "k"], "", "https://127.0.0.1:8443"),
        (["--host", "::1", "--port", "80"], "", "http://[::1]"),
        (
            ["--host", "0.0.0.0", "--port", "443", "--certificate", "c"],
            "localhost,a.example.org",
            "https://a.example.org",
        ),
    ],
)
def test_the_public_address_follows_from_the_options(monkeypatch, arguments, hosts, address):
    monkeypatch.delenv("MAHLSTICK_ADDRESS", raising=False)
    monkeypatch.setenv("MAHLSTICK_HOSTS", hosts)
    set_likely_address(arguments)
    assert os.environ["MAHLSTICK_ADDRESS"] == address
    assert Listening("127.0.0.1", 1, Path("c")).has_half_a_certificate
