"""The image page: what an image is, how it came in, how well it lies, who may see it."""

from typing import Any, cast

from django.contrib import messages
from django.db.models import Field
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils.translation import gettext as _
from django.views.decorators.http import require_GET, require_POST

from frontend.pages.forms import ImageCorrectionForm, StatedScaleForm, ToneForm
from imaging.access import access_image, require_role, role_in_study, sheet_lines_known_to
from imaging.compute.render.display_tone import DisplayTone
from imaging.compute.rights import rights_label
from imaging.models import Registration, Role, TechnicalImage
from imaging.services.correcting import correct_image, corrections_of
from imaging.services.framing import current_frame
from imaging.services.publishing import change_tone, start_publishing
from imaging.services.registering import accept_registration, current_registration, register_by_stated_scale
from imaging.services.thumbnails import thumbnail_address

__all__ = ["change_image_tone", "correct_image_page", "lay_by_scale", "show_image"]


@require_GET
def show_image(request: HttpRequest, image_id: str) -> HttpResponse:
    """Show one image's record."""
    image = access_image(request.user, image_id)
    return render(request, "image.html", _image_context(request, image, ImageCorrectionForm(instance=image)))


def _image_context(request: HttpRequest, image: TechnicalImage, form: ImageCorrectionForm) -> dict[str, Any]:
    """Return what the page shows, with the form as it stands."""
    role = role_in_study(request.user, image.study.pk)
    frame = current_frame(image.face)
    return {
        "image": image,
        "artwork": image.face.artwork,
        "frame": frame,
        "picture": thumbnail_address(image),
        "rights": rights_label(image.rights_uri),
        "sheet": sheet_lines_known_to(request.user, image),
        "capture": _capture_rows(image),
        "registrations": list(image.registrations.select_related("made_by", "judged_by", "frame").order_by("-version")),
        "current": current_registration(image),
        "jobs": list(image.jobs.order_by("-wanted_at")[:5]),
        "history": corrections_of(image),
        "form": form,
        "sample_words": {"u8": _("8 bit"), "u16": _("16 bit"), "f32": _("32-bit float")}.get(image.sample_format, ""),
        "tone": image.tone,
        "tone_form": ToneForm(initial=image.tone, auto_id="tone_%s") if image.tone else None,
        "said_by_file": _metadata_rows(image),
        "scale_form": StatedScaleForm(initial={"um_per_px": image.stated_um_per_px or image.file_um_per_px}),
        "may_edit": role in (Role.CONTRIBUTOR, Role.LEAD),
        "is_lead": role == Role.LEAD,
    }


def _capture_rows(image: TechnicalImage) -> list[tuple[str, Any]]:
    """Return the filled capture fields with their words."""
    fields = image.capture_data()
    rows = []
    for name, value in fields.items():
        field = cast(Field[Any, Any], TechnicalImage._meta.get_field(name))
        shown = image.get_polarity_display() if name == "polarity" else value
        rows.append((str(field.verbose_name), f"{shown:g}" if isinstance(shown, float) else shown))
    return rows


def _metadata_rows(image: TechnicalImage) -> list[tuple[str, str]]:
    """Return what the file says of itself, in words; all of it is kept and served by the API."""
    labels = {
        "creator": _("Creator"),
        "credit_line": _("Credit line"),
        "copyright_notice": _("Copyright notice"),
        "usage_terms": _("Usage terms"),
        "licence_url": _("Licence"),
        "alt_text": _("Text alternative"),
        "description": _("Description"),
        "camera": _("Camera"),
        "lens": _("Lens"),
        "taken_at": _("Taken"),
        "software": _("Software"),
    }
    return [(label, str(value)) for name, label in labels.items() if (value := image.metadata.get(name))]


@require_POST
def correct_image_page(request: HttpRequest, image_id: str) -> HttpResponse:
    """Keep a correction with its author; who sees an image is for leads to say."""
    image = access_image(request.user, image_id)
    editor = require_role(request.user, image.study, needed=Role.CONTRIBUTOR)
    form = ImageCorrectionForm(request.POST, instance=access_image(request.user, image_id))
    if not form.is_valid():
        return render(request, "image.html", _image_context(request, image, form), status=400)
    changes = {name: form.cleaned_data[name] for name in form.changed_data}
    if {"visibility", "embargo_until"} & set(changes):
        require_role(request.user, image.study, needed=Role.LEAD)
    if changes:
        correct_image(image, changes=changes, editor=editor)
        messages.success(request, _("Kept. The words before stay in the history."))
    return redirect("image", image_id)


@require_POST
def change_image_tone(request: HttpRequest, image_id: str) -> HttpResponse:
    """Keep another display tone; the tiles are laid anew, no data is touched."""
    image = access_image(request.user, image_id)
    editor = require_role(request.user, image.study, needed=Role.CONTRIBUTOR)
    form = ToneForm(request.POST)
    if image.tone is None or not form.is_valid():
        messages.error(request, _("A tone needs numbers for black, white and gamma. Nothing was changed."))
        return redirect("image", image_id)
    tone = DisplayTone.from_json({**image.tone, **form.cleaned_data, "statistics": None})
    change_tone(image, tone, editor=editor)
    messages.success(request, _("Kept. The tiles are being laid anew; no data was touched."))
    return redirect("image", image_id)


@require_POST
def lay_by_scale(request: HttpRequest, image_id: str) -> HttpResponse:
    """Lay an image by its stated scale and accept that, as long as nothing better lies there."""
    image = access_image(request.user, image_id)
    author = require_role(request.user, image.study, needed=Role.CONTRIBUTOR)
    form = StatedScaleForm(request.POST)
    frame = current_frame(image.face)
    if not form.is_valid() or frame is None:
        messages.error(request, _("Give micrometres per pixel, and set up the frame first."))
        return redirect("image", image_id)
    registration: Registration = register_by_stated_scale(
        image, frame, made_by=author, pitch_mm=form.cleaned_data["um_per_px"] / 1000, datum_px=form.datum_px()
    )
    accept_registration(registration, judge=author, reason=_("laid by stated scale"))
    start_publishing(registration, wanted_by=author)
    messages.success(request, _("Laid by its scale; the tiles are being made."))
    return redirect("image", image_id)
