"""Lines of the ingest sheet on the scale: µm a pixel, and the size on the work."""

from .master_header import UM_PER_INCH
from .sheet_facts import SheetCheck, SheetFacts

__all__ = ["scale_check", "size_check"]

# Two statements of the scale agree within 1 %.
_TOLERANCE = 0.01
# Densities that programs and cameras write without having measured (common practice, no source).
_PLACEHOLDER_PPI = (1.0, 72.0, 96.0, 180.0)
_PLACEHOLDER_TOLERANCE_PPI = 0.6


def scale_check(facts: SheetFacts) -> SheetCheck:
    """Return the line that compares the µm a pixel of the file and of the person.

    Parameters
    ----------
    facts : SheetFacts
        Header and statement.

    Returns
    -------
    line : SheetCheck
        Fits only if somebody stated the scale and the file does not contradict it.
    """
    stated, in_file = facts.stated_um_per_px, facts.header.um_per_px
    if in_file is None:
        if stated is None:
            return _line("open", "scale_missing")
        return _line("fits", "scale_given", um_per_px=stated)
    x_um, y_um = in_file
    ppi = UM_PER_INCH / x_um
    is_placeholder = any(abs(ppi - placeholder) < _PLACEHOLDER_TOLERANCE_PPI for placeholder in _PLACEHOLDER_PPI)
    if is_placeholder:
        if stated is None:
            return _line("open", "scale_placeholder", ppi=ppi)
        if abs(x_um / stated - 1.0) > _TOLERANCE:
            return _line("fits", "scale_given", um_per_px=stated)
    if abs(x_um / y_um - 1.0) > _TOLERANCE:
        return _line("open", "scale_uneven", x_um=x_um, y_um=y_um)
    file_um = (x_um + y_um) / 2
    if stated is None:
        return _line("open", "scale_from_file", um_per_px=file_um, ppi=ppi)
    difference = file_um / stated - 1.0
    if abs(difference) > _TOLERANCE:
        return _line(
            "open",
            "scale_differs",
            file_um=file_um,
            given_um=stated,
            percent=abs(100.0 * difference),
        )
    return _line("fits", "scale_fits", um_per_px=stated)


def size_check(facts: SheetFacts) -> SheetCheck:
    """Return the line that compares pixels times pitch with the recorded size of the work.

    Parameters
    ----------
    facts : SheetFacts
        Header, statement and size of the work.

    Returns
    -------
    line : SheetCheck
        Fits within 1 % of both sides, or for a detail that is no larger than the work.
    """
    pitch_um, work = facts.pitch_um, facts.work_size_mm
    if pitch_um is None or work is None:
        missing = "µm a pixel" if pitch_um is None else "the size of the work"
        return _line("open", "size_unknown", key="size", missing=missing)
    width_mm, height_mm = (side * pitch_um / 1000.0 for side in facts.upright_size_px)
    code = _size_code((width_mm / work[0], height_mm / work[1]), is_detail=facts.is_detail)
    if code == "size_larger" and _is_near(width_mm / work[1]) and _is_near(height_mm / work[0]):
        code = "size_turned"
    return _line(
        "fits" if code in ("size_fits", "size_detail") else "open",
        code,
        key="size",
        width_mm=width_mm,
        height_mm=height_mm,
        work_width_mm=work[0],
        work_height_mm=work[1],
    )


def _size_code(ratios: tuple[float, float], *, is_detail: bool) -> str:
    if all(_is_near(ratio) for ratio in ratios):
        return "size_fits"
    if max(ratios) > 1.0 + _TOLERANCE:
        return "size_larger"
    return "size_detail" if is_detail else "size_smaller"


def _is_near(ratio: float) -> bool:
    return abs(ratio - 1.0) <= _TOLERANCE


def _line(state: str, code: str, *, key: str = "scale", **values: float | str) -> SheetCheck:
    return SheetCheck(key=key, state=state, code=code, values=dict(values))
