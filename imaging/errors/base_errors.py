"""The bases of everything that a person or a file can cause in imaging."""

__all__ = [
    "ImagingError",
    "TemplateError",
]


class ImagingError(Exception):
    """Base of everything that a person or a file can cause in this app."""

    code = "imaging_error"


class TemplateError(ImagingError):
    """A message kept as ``template`` and ``values``, so that it can be translated and refilled."""

    code = "template"
    template = "{file_name} cannot be used."

    def __init__(self, *, file_name: str, **values: str | int | float):
        self.file_name, self.values = file_name, values
        super().__init__(self.template.format(file_name=file_name, **values))
