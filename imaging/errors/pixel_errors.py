"""What can be wrong with pixels, pyramids and colour profiles after a file was received."""

from .base_errors import TemplateError

__all__ = [
    "BuildInProgressError",
    "DamagedPyramidError",
    "NoRandomAccessError",
    "UntaggedColourError",
    "UnusableProfileError",
]


class NoRandomAccessError(TemplateError):
    """A window was asked of a master that can only be read from top to bottom."""

    code = "no_random_access"
    template = (
        "{file_name} can only be read from top to bottom. Build its reading levels first; they "
        "hold a copy of it that any window can be read from."
    )


class BuildInProgressError(TemplateError):
    """Another process is writing the same file."""

    code = "build_in_progress"
    template = "{file_name} is being built already. Wait for that job to end, or cancel it."


class DamagedPyramidError(TemplateError):
    """A pyramid or a file of reading levels is not what it claims."""

    code = "damaged_pyramid"
    template = "{file_name} cannot be served: {what}. Publish the image again."


class UnusableProfileError(TemplateError):
    """A colour profile is damaged or fits other channels."""

    code = "unusable_profile"
    template = (
        "The colour profile of {file_name} cannot be applied: {what}. Embed the right profile in "
        "the file, or say that its values be shown as sRGB."
    )


class UntaggedColourError(TemplateError):
    """Colours without a profile, and no rule for them."""

    code = "untagged_colour"
    template = (
        "{file_name} holds colours without a profile. Say which colour space they are in: give a "
        "profile, or say that they be shown as sRGB."
    )
