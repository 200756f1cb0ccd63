"""The ten images of the demonstration: what each shows, how finely, through which camera."""

import math
from dataclasses import dataclass

from demo_fixtures.painter.camera import Camera

__all__ = ["IMAGE_NAMES", "SIZES", "ImageSpec", "image_spec", "pitch_um"]

# Micrometres per pixel of each group of images at each size.
SIZES: dict[str, dict[str, float]] = {
    "small": {"visible": 250, "surface": 320, "infrared": 320, "xray": 320, "macro": 20},
    "default": {"visible": 80, "surface": 100, "infrared": 125, "xray": 125, "macro": 10},
    "full": {"visible": 20, "surface": 40, "infrared": 50, "xray": 50, "macro": 10},
}
_BORDER_MM = 12.0
_XRAY_DISTANCE_MM = 1000.0
_PAINT_DEPTH_MM = 21.0


@dataclass(frozen=True)
class ImageSpec:
    """One image: content, sensor and geometry apart from its pitch."""

    name: str
    modality: str
    state: str
    group: str
    content: str
    bits: int = 16
    turn_deg: float = 0.0
    quarter_turns: int = 0
    scale: float = 1.0
    tilt: tuple[float, float] = (0.0, 0.0)
    lens: float = 0.0
    bend_mm: float = 0.0
    blur_px: float = 0.0
    noise: float = 0.0025
    gain: float = 1.0
    tint: tuple[float, float, float] = (1.0, 1.0, 1.0)
    window_mm: tuple[float, float, float, float] | None = None

    def camera(self, size: str) -> Camera:
        """Return the geometry at a size."""
        pitch_mm = pitch_um(self.name, size) / 1000.0
        if self.window_mm is not None:
            left, top, width, height = self.window_mm
            centre = (left + width / 2, top + height / 2)
        else:
            width, height, centre = 640.0 + 2 * _BORDER_MM, 480.0 + 2 * _BORDER_MM, (320.0, 240.0)
        is_xray = self.content == "xray"
        enlargement = _XRAY_DISTANCE_MM / (_XRAY_DISTANCE_MM - _PAINT_DEPTH_MM) if is_xray else 1.0
        across, down = (_even(length * enlargement / pitch_mm) for length in (width, height))
        if self.quarter_turns % 2:
            across, down = down, across
        return Camera(
            (across, down),
            pitch_mm * self.scale,
            centre,
            self.turn_deg,
            self.quarter_turns,
            enlargement,
            self.tilt,
            self.lens,
            self.bend_mm,
            sum(self.name.encode()),
        )


def _even(length: float) -> int:
    return 2 * math.ceil(length / 2 - 1e-6)


_SPECS = (
    ImageSpec("vis-bt-v2", "VIS", "before", "visible", "visible"),
    ImageSpec(
        "irr-bt",
        "IRR",
        "before",
        "infrared",
        "infrared",
        turn_deg=0.46,
        scale=1.0013,
        tilt=(4e-6, -3e-6),
        lens=0.0012,
        bend_mm=0.12,
        blur_px=0.55,
        noise=0.0045,
    ),
    ImageSpec(
        "xr-bt",
        "XR",
        "before",
        "xray",
        "xray",
        turn_deg=-0.7,
        quarter_turns=1,
        scale=0.9991,
        lens=0.0004,
        bend_mm=0.14,
        blur_px=0.6,
        noise=0.006,
    ),
    ImageSpec(
        "uvl-bt",
        "UVL",
        "before",
        "surface",
        "luminescence",
        turn_deg=0.21,
        scale=0.9994,
        tilt=(-3e-6, 2e-6),
        lens=-0.0008,
        bend_mm=0.05,
        blur_px=0.5,
        noise=0.006,
    ),
    ImageSpec(
        "rak-bt-left",
        "RAK",
        "before",
        "surface",
        "raking",
        bits=8,
        turn_deg=-0.32,
        scale=1.0008,
        tilt=(2e-6, 5e-6),
        lens=0.0009,
        bend_mm=0.06,
        blur_px=0.4,
    ),
    ImageSpec(
        "vis-bt-v1",
        "VIS",
        "before",
        "visible",
        "visible",
        turn_deg=0.12,
        scale=1.0004,
        lens=0.0005,
        bend_mm=0.15,
        blur_px=0.6,
        noise=0.004,
        gain=0.93,
        tint=(1.03, 1.0, 0.95),
    ),
    ImageSpec(
        "mac-bt",
        "MAC",
        "before",
        "macro",
        "visible",
        turn_deg=0.9,
        scale=1.003,
        lens=0.002,
        blur_px=0.5,
        gain=1.05,
        window_mm=(133.0, 253.0, 24.0, 16.0),
    ),
    ImageSpec(
        "vis-dt",
        "VIS",
        "during",
        "visible",
        "visible",
        turn_deg=-0.15,
        scale=0.9997,
        tilt=(-2e-6, -2e-6),
        lens=0.0004,
        bend_mm=0.22,
        noise=0.0028,
        gain=0.97,
    ),
    ImageSpec(
        "vis-at",
        "VIS",
        "after",
        "visible",
        "visible",
        turn_deg=0.24,
        scale=1.0005,
        tilt=(3e-6, 1e-6),
        lens=0.0004,
        bend_mm=0.30,
        noise=0.0022,
    ),
    ImageSpec(
        "uvl-at",
        "UVL",
        "after",
        "surface",
        "luminescence",
        turn_deg=-0.18,
        quarter_turns=2,
        scale=1.0006,
        lens=-0.0008,
        bend_mm=0.30,
        blur_px=0.5,
        noise=0.006,
        gain=1.6,
    ),
)
IMAGE_NAMES = tuple(spec.name for spec in _SPECS)


def image_spec(name: str) -> ImageSpec:
    """Return the specification of an image."""
    for spec in _SPECS:
        if spec.name == name:
            return spec
    raise ValueError(f"There is no image named {name!r}; the painter knows {', '.join(IMAGE_NAMES)}.")


def pitch_um(name: str, size: str) -> float:
    """Return the stated micrometres per pixel of an image at a size."""
    if size not in SIZES:
        raise ValueError(f"There is no size named {size!r}; choose one of {', '.join(SIZES)}.")
    return SIZES[size][image_spec(name).group]
