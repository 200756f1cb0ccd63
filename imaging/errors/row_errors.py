"""What can be wrong with a row, and with the right to see or change it."""

import datetime as dt

from .base_errors import ImagingError

__all__ = [
    "EditConflictError",
    "FieldRefusedError",
    "ImageClosedError",
    "InvitationEndedError",
    "NotFoundError",
    "RevisionMissingError",
    "RoleNeededError",
    "UnfitStateError",
]


class NotFoundError(ImagingError):
    """Nothing of that kind is open to this person; absent and forbidden look the same."""

    code = "not_found"

    def __init__(self, *, noun: str, identifier: object):
        self.noun, self.identifier = noun, str(identifier)
        super().__init__(f"There is no {noun} {identifier} that is open to you. Check the address or sign in.")


class ImageClosedError(ImagingError):
    """The image is known to this person but closed until a date."""

    code = "image_closed"

    def __init__(self, *, image_id: object, closed_until: dt.date, ask: str):
        self.image_id, self.closed_until, self.ask = str(image_id), closed_until.isoformat(), ask
        super().__init__(
            f"No way through to this image before {closed_until.isoformat()}. "
            f"The right to see closed images is needed. Ask {ask}."
        )


class RoleNeededError(ImagingError):
    """The person may see this but not do it."""

    code = "role_needed"

    def __init__(self, *, given: str, needed: str, study: str):
        self.given, self.needed, self.study = given, needed, study
        super().__init__(f"You take part in {study} as {given}; this needs the role {needed}. Ask a lead of the study.")


class InvitationEndedError(ImagingError):
    """The invitation link has ended, was revoked or never was."""

    code = "invitation_ended"

    def __init__(self) -> None:
        super().__init__("This link is not valid any more. Ask the person who gave it to you for a new one.")


class EditConflictError(ImagingError):
    """Somebody changed the row after it was read."""

    code = "edit_conflict"

    def __init__(self, *, expected: int, current: int, editor: str = ""):
        self.expected, self.current, self.editor = expected, current, editor
        super().__init__(
            f"{editor or 'Somebody'} changed this: you began from revision {expected}, now it is revision {current}. "
            "Read both, then keep theirs or put yours after it."
        )


class RevisionMissingError(ImagingError):
    """A change must say which revision it began from."""

    code = "revision_missing"

    def __init__(self) -> None:
        super().__init__("A change needs the header If-Match with the revision it began from. Fetch the row first.")


class UnfitStateError(ImagingError):
    """A step was asked of a row that is not ready for it, or past it."""

    code = "unfit_state"

    def __init__(self, *, noun: str, state: str, needed: str, remedy: str):
        self.noun, self.state, self.needed, self.remedy = noun, state, needed, remedy
        super().__init__(f"This {noun} is {state}; it must be {needed}. {remedy}")


class FieldRefusedError(ImagingError):
    """One field holds a value that cannot be used; the message names the field and the remedy."""

    code = "field_refused"

    def __init__(self, *, field: str, given: object, needed: str):
        self.field, self.given, self.needed = field, str(given), needed
        super().__init__(f"{field} is {given}; needed is {needed}.")
