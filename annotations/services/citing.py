"""How an annotation is cited: who, what, where, which version, when, and its address for good."""

from django.utils import timezone
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from annotations.models import Annotation
from annotations.services.exporting import annotation_iri

__all__ = ["citation_of"]


def citation_of(annotation: Annotation) -> str:
    """Return one line that finds this revision of the annotation again."""
    work = annotation.face.artwork
    return _("%(author)s, “%(key)s %(title)s”, on %(work)s, revision %(revision)d, %(date)s. %(address)s") % {
        "author": annotation.author.name,
        "key": annotation.key,
        "title": annotation.title or annotation.subject or _("annotation"),
        "work": work,
        "revision": annotation.revision_number,
        "date": date_format(timezone.localtime(annotation.edited_at), "j M Y"),
        "address": annotation_iri(annotation),
    }
