"""Correct what is written about an image; the words before stay in the history, and what follows is said."""

import dataclasses
import datetime as dt
import itertools
from typing import Any

import pghistory
from django.db import transaction
from django.utils.translation import gettext as _

from imaging.errors import FieldRefusedError
from imaging.models import Person, RegistrationMethod, TechnicalImage, Visibility
from imaging.models.technical_image import CAPTURE_FIELDS, Polarity
from imaging.services.framing import current_frame
from imaging.services.registering import current_registration, register_by_stated_scale

__all__ = ["CORRECTABLE_FIELDS", "Correction", "correct_image", "corrections_of", "effects_of_correction"]

#: What a person states and may therefore state wrongly; figures read from the file are not among them.
CORRECTABLE_FIELDS = (
    "modality",
    "title",
    *CAPTURE_FIELDS,
    "photographer",
    "credit_line",
    "rights_uri",
    "visibility",
    "embargo_until",
)
_NUMBER_FORMAT = ".6g"


@dataclasses.dataclass(frozen=True)
class Correction:
    """One change of one field, as the history shows it."""

    at: dt.datetime
    editor: str
    field: str
    before: Any
    after: Any

    @property
    def sentence(self) -> str:
        """What was changed, in words."""
        return _("%(field)s: %(before)s became %(after)s") % {
            "field": _field_label(self.field),
            "before": _shown(self.field, self.before),
            "after": _shown(self.field, self.after),
        }


@transaction.atomic
def correct_image(image: TechnicalImage, *, changes: dict[str, Any], editor: Person) -> TechnicalImage:
    """Save corrected fields with their author; a new scale makes a new candidate, it never moves anything by itself."""
    unknown = sorted(set(changes) - set(CORRECTABLE_FIELDS))
    if unknown:
        raise FieldRefusedError(
            field=unknown[0], given="not open to correction", needed=f"one of {', '.join(CORRECTABLE_FIELDS)}"
        )
    image = TechnicalImage.objects.select_for_update(of=("self",)).select_related("face").get(pk=image.pk)
    real = {name: value for name, value in changes.items() if getattr(image, name) != value}
    if not real:
        return image
    for name, value in real.items():
        setattr(image, name, value)
    _refuse_contradictions(image)
    _follow_polarity(image, real)
    with pghistory.context(user=str(editor.pk), action="correct_image"):
        image.save(update_fields=[*real, "tone"])
        _follow_scale(image, real, editor=editor)
    return image


def _refuse_contradictions(image: TechnicalImage) -> None:
    """Refuse what Django's own checks refuse, and a name that another image has."""
    image.clean_fields(exclude=["band_names", "metadata", "statistics", "ingest_sheet", "tone"])
    band = (image.band_from_nm, image.band_to_nm)
    if band[0] is not None and band[1] is not None and band[0] >= band[1]:
        raise FieldRefusedError(field="band_from_nm", given=f"{band[0]:g}", needed=f"less than {band[1]:g} nm")
    if image.stated_um_per_px is not None and not 0.01 <= image.stated_um_per_px <= 100_000:
        raise FieldRefusedError(
            field="stated_um_per_px", given=f"{image.stated_um_per_px:g}", needed="from 0.01 to 100,000 µm per pixel"
        )
    if image.visibility == Visibility.SITE and image.site_id is None:
        raise FieldRefusedError(field="visibility", given="site", needed="another one: the image belongs to no site")
    twins = TechnicalImage.objects.filter(
        face=image.face,
        campaign=image.campaign_id,
        modality=image.modality,
        title=image.title,
        version=image.version,
    ).exclude(pk=image.pk)
    if twins.exists():
        raise FieldRefusedError(
            field="title",
            given=f"{image.title or 'empty'}, as for another {image.modality} of this state",
            needed="a title that tells the two apart",
        )


def _follow_polarity(image: TechnicalImage, changes: dict[str, Any]) -> None:
    """Turn the display of a radiograph whose polarity was stated wrongly; white is dense, as on film."""
    if "polarity" in changes and image.tone is not None:
        image.tone = {**image.tone, "is_inverted": image.polarity == Polarity.BLACK_IS_DENSE}


def _follow_scale(image: TechnicalImage, changes: dict[str, Any], *, editor: Person) -> None:
    """Make a candidate from a corrected scale when the accepted registration came from the wrong one."""
    registration, frame = current_registration(image), current_frame(image.face)
    came_from_scale = registration is not None and registration.method == RegistrationMethod.STATED_SCALE
    if "stated_um_per_px" in changes and image.stated_um_per_px and came_from_scale and frame is not None:
        register_by_stated_scale(image, frame, made_by=editor)


def effects_of_correction(image: TechnicalImage, changes: dict[str, Any]) -> list[str]:
    """Return what a correction changes beyond the words, one sentence each; for the person before and after."""
    effects = []
    registration = current_registration(image)
    if "stated_um_per_px" in changes and registration is not None:
        if registration.method == RegistrationMethod.STATED_SCALE:
            effects.append(_("A new registration with this scale awaits judgement; until then nothing moves."))
        else:
            effects.append(_("The registration does not come from the stated scale and stays as it is."))
    if "polarity" in changes:
        effects.append(_("Windows show it the other way round at once; published tiles do after publishing again."))
    if {"visibility", "embargo_until"} & set(changes):
        effects.append(_("Tiles, windows, thumbnails and exports follow within two seconds, for everybody."))
    if "modality" in changes:
        effects.append(_("It moves to another column of the table of images; what is marked on it stays on it."))
    return effects


def corrections_of(image: TechnicalImage) -> list[Correction]:
    """Return every change of a correctable field since the image came in, the newest first."""
    events = list(image.events.select_related("pgh_context").order_by("pgh_id"))  # type: ignore[attr-defined]
    names = _names_of_editors(events)
    found = []
    for before, after in itertools.pairwise(events):
        editor = names.get(_editor_id(after), "")
        found += [
            Correction(after.pgh_created_at, editor, name, getattr(before, name), getattr(after, name))
            for name in CORRECTABLE_FIELDS
            if getattr(before, name) != getattr(after, name)
        ]
    return found[::-1]


def _editor_id(event: Any) -> str:
    """Return who made a change, as the history's context keeps it."""
    return str((event.pgh_context.metadata if event.pgh_context else {}).get("user") or "")


def _names_of_editors(events: list[Any]) -> dict[str, str]:
    """Return the names of all editors by id, in one query."""
    ids = {_editor_id(event) for event in events} - {""}
    return {str(person.pk): person.name for person in Person.objects.filter(pk__in=ids)}


def _field_label(name: str) -> str:
    """Return the words for a field."""
    return str(getattr(TechnicalImage._meta.get_field(name), "verbose_name", name))


def _shown(name: str, value: Any) -> str:
    """Return a value as people read it."""
    if value in (None, ""):
        return _("nothing")
    choices = dict(getattr(TechnicalImage._meta.get_field(name), "flatchoices", ()))
    if value in choices:
        return str(choices[value])
    return format(value, _NUMBER_FORMAT) if isinstance(value, float) else str(value)
