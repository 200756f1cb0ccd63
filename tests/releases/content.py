"""What a release's small installation holds: one row of every kind that a version can lose."""

import tempfile
from pathlib import Path

from shapely import LineString

from annotations.services.drawing import DrawnOn, draw_annotation
from annotations.services.words import Words
from imaging.models import Person, Role
from imaging.services.framing import FrameDescription, change_of_measure, correct_frame, set_up_frame
from imaging.services.people import add_member, create_study, invite_guest
from imaging.services.registering import current_registration
from imaging.services.works import enter_work
from tests.factories import bring_in, write_picture

__all__ = ["OBSERVATION", "fill"]

OBSERVATION = "A dark line under the sleeve."


def fill() -> None:
    """Fill the installation whose settings are in force."""
    lead = Person.objects.create_user("odile@example.org", "panel-of-oak-417", name="Odile Marchwood")
    study = create_study("Kept for later versions", founder=lead)
    member = add_member(study, email="jun@example.org", name="Jun Teasdale", role=Role.CONTRIBUTOR)
    invite_guest(study, guest_name="Rafe Ellingsund", days=30, invited_by=lead)
    work = enter_work(study, {"inventory_number": "OH 0417", "title": "Blue Jug", "height_mm": 9.6, "width_mm": 12.8})
    face = work.faces.get()
    first = FrameDescription(12.8, 9.6, canvas_pitch_mm=0.1)
    frame = set_up_frame(face, first, made_by=lead)
    with tempfile.TemporaryDirectory() as folder:
        picture = write_picture(Path(folder), width_px=128, height_px=96, dtype="uint16")
        image = bring_in(picture, face, lead)
    draw_annotation(
        face,
        shape_mm=LineString([(1.0, 1.0), (5.0, 4.0)]),
        words=Words(title="Sleeve", observation=OBSERVATION, certainty="probable", certainty_reason="Seen once."),
        author=member.person,
        drawn_on=DrawnOn(image, current_registration(image)),
    )
    corrected = FrameDescription(12.9, 9.6, canvas_pitch_mm=0.1)
    change = change_of_measure(frame, corrected, zero_at_mm=(0.1, 0.0))
    correct_frame(frame, corrected, change=change, made_by=lead, reason="Measured again.")
