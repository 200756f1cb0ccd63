"""`manage.py paint FOLDER`: paint the demonstration's images, or the shots of one of them."""

import datetime as dt
import json
import math
import re
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from demo_fixtures.painter.images import IMAGE_NAMES, SIZES, image_spec, pitch_um
from demo_fixtures.painter.paint import forget_stack, paint_images
from demo_fixtures.painter.raster import RASTER_SIZE_MM
from demo_fixtures.painter.shots import SHOT_MODALITIES, paint_shots
from demo_fixtures.scenario import write_image_table
from imaging.management.progress_line import ProgressLine

__all__ = ["Command"]

_USAGE, _FAILURE = 2, 1
_GRID = re.compile(r"^(\d{1,2})x(\d{1,2})$")


class Command(BaseCommand):
    """Paint masters with their truth; the same seed and size give the same bytes."""

    help = "Paint the demonstration's images into FOLDER, with tables of where every point truly lies."

    def add_arguments(self, parser: CommandParser) -> None:
        """Take the folder, the seed, the size and what to paint."""
        parser.add_argument("folder", type=Path, metavar="FOLDER")
        parser.add_argument("--seed", type=int, default=1, help="any whole number from 0 (default 1)")
        parser.add_argument("--size", choices=sorted(SIZES), default="default")
        parser.add_argument(
            "--images", metavar="NAME,NAME", help=f"only these, in this order: {', '.join(IMAGE_NAMES)}"
        )
        parser.add_argument(
            "--shots",
            nargs=2,
            metavar=("MODALITY", "ROWSxCOLUMNS"),
            help=f"shots instead of masters, of one of {', '.join(sorted(SHOT_MODALITIES))}",
        )
        parser.add_argument("--forget-stack", action="store_true", help="remove the painted stack (.stack) at the end")
        parser.add_argument("--installed-on", metavar="YYYY-MM-DD", help="day the embargo counts from (default today)")
        parser.add_argument("--json", action="store_true", help="print one JSON object a file")

    def handle(self, *args: Any, **options: Any) -> None:
        """Paint and print what was painted."""
        if not 0 <= options["seed"] < 2**31:
            raise CommandError(
                f"--seed was {options['seed']}; give a whole number from 0 to 2147483647.", returncode=_USAGE
            )
        folder: Path = options["folder"]
        if folder.exists() and not folder.is_dir():
            raise CommandError(f"{folder} is a file; name a folder to paint into.", returncode=_USAGE)
        line = ProgressLine()
        steps = _Steps(line, options["size"])
        try:
            folder.mkdir(parents=True, exist_ok=True)
            rows = self._shots(options, steps) if options["shots"] else self._masters(options, steps)
        except OSError as err:
            raise CommandError(
                f"{folder} could not be written: {err}. Free space or choose another folder.", returncode=_FAILURE
            ) from err
        finally:
            line.end()
        for row in rows:
            self.stdout.write(json.dumps(row) if options["json"] else " ".join(str(value) for value in row.values()))

    def _masters(self, options: dict[str, Any], steps: "_Steps") -> list[dict[str, Any]]:
        """Paint masters and write the table for `ingest --table`."""
        names = options["images"].split(",") if options["images"] else list(IMAGE_NAMES)
        unknown = [name for name in names if name not in IMAGE_NAMES]
        if unknown:
            raise CommandError(
                f"--images: {unknown[0]!r} is not known; choose from {', '.join(IMAGE_NAMES)}.", returncode=_USAGE
            )
        installed_on = self._day(options["installed_on"])
        steps.expect(names)
        painted = paint_images(
            options["folder"], seed=options["seed"], size=options["size"], images=names, progress=steps.show
        )
        if options["forget_stack"]:
            forget_stack(options["folder"])
        present = [name for name in IMAGE_NAMES if (options["folder"] / f"{name}.tif").exists()]
        write_image_table(
            options["folder"] / "images.csv", names=present, size=options["size"], installed_on=installed_on
        )
        return [{**image._asdict(), "path": str(image.path), "seconds": round(image.seconds, 2)} for image in painted]

    def _shots(self, options: dict[str, Any], steps: "_Steps") -> list[dict[str, Any]]:
        """Paint the shots of one modality."""
        modality, grid = options["shots"]
        match = _GRID.match(grid)
        if modality not in SHOT_MODALITIES:
            raise CommandError(
                f"--shots: {modality!r} is not one of {', '.join(sorted(SHOT_MODALITIES))}.", returncode=_USAGE
            )
        if not match or not (1 <= int(match[1]) <= 60 and 1 <= int(match[2]) <= 60):
            raise CommandError(
                f"--shots: {grid!r} is not ROWSxCOLUMNS, each from 1 to 60, such as 5x5.", returncode=_USAGE
            )
        steps.expect([modality], SHOT_MODALITIES)
        wanted = (modality, (int(match[1]), int(match[2])))
        shots = paint_shots(
            options["folder"], seed=options["seed"], size=options["size"], shots=wanted, progress=steps.show
        )
        return [{**shot._asdict(), "path": str(shot.path)} for shot in shots]

    def _day(self, text: str | None) -> dt.date:
        """Return the day of installation."""
        if text is None:
            return dt.datetime.now(tz=dt.UTC).date()
        try:
            return dt.date.fromisoformat(text)
        except ValueError:
            raise CommandError(f"--installed-on: {text!r} is not a date as YYYY-MM-DD.", returncode=_USAGE) from None


class _Steps:
    """Turns the painter's steps into one running share of the whole."""

    def __init__(self, line: ProgressLine, size: str) -> None:
        self.line = line
        self.size = size
        self.cost_s: dict[str, float] = {}

    def expect(self, names: list[str], image_of: dict[str, str] | None = None) -> None:
        """Lay out what will be done, with rough seconds on two cores for each step."""
        self.cost_s = {"plan": 15.0}
        stack_mpx = RASTER_SIZE_MM[0] * RASTER_SIZE_MM[1] / (pitch_um("vis-bt-v2", self.size) ** 2)
        is_stack_counted = False
        for name in names:
            spec = image_spec(image_of[name] if image_of else name)
            mpx = math.prod(spec.camera(self.size).size_px) / 1e6
            if spec.window_mm is not None:
                self.cost_s[f"{name}: paint"] = mpx
            elif not is_stack_counted:
                self.cost_s[f"{name}: paint"] = stack_mpx
                is_stack_counted = True
            self.cost_s[f"{name}: photograph"] = 0.4 * mpx

    def show(self, label: str, share: float) -> None:
        """Show how far the whole is when one step has got to a share of itself."""
        before = 0.0
        for step, cost_s in self.cost_s.items():
            if step == label:
                before += cost_s * share
                break
            before += cost_s
        self.line.count(label, done=round(1000 * before), total=round(1000 * sum(self.cost_s.values())))
