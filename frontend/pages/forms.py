"""Forms of the server-rendered pages; each error stands beside its field."""

from typing import Any, ClassVar

from django import forms
from django.db.models import QuerySet
from django.http import QueryDict
from django.utils.translation import gettext_lazy as _

from imaging.compute.rights import RIGHTS_URIS
from imaging.models import Artwork, Person, Role, TechnicalImage
from imaging.services.correcting import CORRECTABLE_FIELDS
from imaging.services.works import WORK_FIELDS

__all__ = [
    "FrameCorrectionForm",
    "ImageCorrectionForm",
    "InvitationForm",
    "MemberForm",
    "ProfileForm",
    "StatedScaleForm",
    "StudyForm",
    "TokenForm",
    "ToneForm",
    "WorkForm",
    "rights_choices",
]


def rights_choices() -> list[tuple[str, str]]:
    """Return the rights statements with an empty first line."""
    return [("", str(_("not stated"))), *RIGHTS_URIS.items()]


class StudyForm(forms.Form):
    """A new study."""

    name = forms.CharField(label=_("Name of the study"), max_length=200)
    summary = forms.CharField(label=_("What it is about"), required=False, widget=forms.Textarea(attrs={"rows": 3}))


class WorkForm(forms.ModelForm[Artwork]):
    """What is stated about a work; sizes height before width, in millimetres."""

    rights_uri = forms.ChoiceField(label=_("Rights"), choices=rights_choices, required=False)

    class Meta:
        model = Artwork
        fields: ClassVar = list(WORK_FIELDS)

    def __init__(self, *arguments: Any, works: QuerySet[Artwork], **options: Any):
        super().__init__(*arguments, **options)
        part_of = self.fields["part_of"]
        assert isinstance(part_of, forms.ModelChoiceField)
        part_of.queryset, part_of.label, part_of.required = works, _("Part of"), False

    def validate_unique(self) -> None:
        """Leave it to the service, which knows the study."""


class ImageCorrectionForm(forms.ModelForm[TechnicalImage]):
    """What may be corrected about an image."""

    rights_uri = forms.ChoiceField(label=_("Rights"), choices=rights_choices, required=False)
    embargo_until = forms.DateField(
        label=_("Closed until"), required=False, widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )

    class Meta:
        model = TechnicalImage
        fields: ClassVar = list(CORRECTABLE_FIELDS)


class StatedScaleForm(forms.Form):
    """A scale, and where 0, 0 lies in the picture."""

    um_per_px = forms.FloatField(label=_("Micrometres per pixel"), min_value=0.01, max_value=10_000)
    datum_x_px = forms.FloatField(label=_("0, 0 lies at x, px"), required=False)
    datum_y_px = forms.FloatField(label=_("y, px"), required=False)

    def datum_px(self) -> tuple[float, float] | None:
        """Return the pixel of 0, 0, or None when it was left open."""
        x_px, y_px = self.cleaned_data.get("datum_x_px"), self.cleaned_data.get("datum_y_px")
        return None if x_px is None or y_px is None else (x_px, y_px)


class FrameCorrectionForm(forms.Form):
    """New measured lengths of a framed face, and where the new zero lies in the old millimetres."""

    width_mm = forms.FloatField(label=_("Width measured again, mm"), min_value=1, max_value=100_000)
    height_mm = forms.FloatField(label=_("Height measured again, mm"), min_value=1, max_value=100_000)
    size_uncertainty_mm = forms.FloatField(label=_("Uncertainty of these lengths (95 %), mm"), min_value=0)
    zero_x_mm = forms.FloatField(label=_("New zero at x, in the old mm"), initial=0)
    zero_y_mm = forms.FloatField(label=_("New zero at y, in the old mm"), initial=0)
    reason = forms.CharField(label=_("Why the frame is corrected"), max_length=500)


class ToneForm(forms.Form):
    """Black, white, gamma and inversion of the tiles, in the values of the master."""

    black = forms.FloatField(label=_("Shown as black"))
    white = forms.FloatField(label=_("Shown as white"))
    gamma = forms.FloatField(label=_("Gamma"), min_value=0.05, max_value=20)
    is_inverted = forms.BooleanField(label=_("Light and dark exchanged"), required=False)


class InvitationForm(forms.Form):
    """A link for a guest."""

    guest_name = forms.CharField(label=_("Name of the guest"), max_length=200)
    days = forms.IntegerField(label=_("Days until the link ends"), min_value=1, max_value=366, initial=30)


class MemberForm(forms.Form):
    """A new member of a study."""

    name = forms.CharField(label=_("Name"), max_length=200)
    email = forms.EmailField(label=_("E-mail address"))
    role = forms.ChoiceField(label=_("Role"), choices=Role.choices, initial=Role.CONTRIBUTOR)
    site = forms.CharField(
        label=_("Site"), max_length=200, required=False, help_text=_("The studio or laboratory they work from.")
    )


class ProfileForm(forms.ModelForm[Person]):
    """What a person says of themselves."""

    class Meta:
        model = Person
        fields: ClassVar = ["name", "orcid", "language"]
        help_texts: ClassVar = {"orcid": _("Sixteen digits in groups of four; the last one is a check character.")}


class TokenForm(forms.Form):
    """A new API token."""

    label = forms.CharField(label=_("What it is for"), max_length=100)
    days = forms.IntegerField(label=_("Days until it ends"), min_value=1, max_value=366, initial=90)

    def __init__(self, data: QueryDict | None = None):
        super().__init__(data, auto_id="token_%s")
