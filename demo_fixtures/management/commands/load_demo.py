"""`manage.py load_demo`: bring the invented scenario in; used by `demo`, harmless to call again."""

import fcntl
import sys
import time
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand

from demo_fixtures.loading.marks import load_marks
from demo_fixtures.loading.people import load_people, sign_ins
from demo_fixtures.loading.pictures import PictureLoader
from demo_fixtures.loading.work import load_work
from demo_fixtures.painter.images import SIZES
from demo_fixtures.scenario import read_scenario

__all__ = ["Command"]

_SEED = 417
#: What people compare first; the rest follows while they look.
_FIRST_IMAGES = ("vis-bt-v2", "irr-bt")
_UM_PER_MM = 1000.0


class Command(BaseCommand):
    """Load people, the work, its pictures and marks; print how to sign in."""

    help = "Bring the invented scenario in: people, a work, painted pictures, marks."

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Name the options."""
        parser.add_argument("--size", choices=sorted(SIZES), default="default")
        parser.add_argument("--first", action="store_true", help="only the two pictures that are compared first")
        parser.add_argument("--here", action="store_true", help="run the jobs in this process, without a worker")
        parser.add_argument("--seed", type=int, default=_SEED)

    def handle(self, *args: Any, **options: Any) -> None:
        """Load what is missing."""
        folder = Path(settings.DATA_DIR) / "painted" / options["size"]
        folder.mkdir(parents=True, exist_ok=True)
        with (folder / ".lock").open("w") as lock:
            # Two loaders would paint the same picture twice.
            fcntl.flock(lock, fcntl.LOCK_EX)
            self.load(folder, options)
        for row in sign_ins():
            self.stdout.write(f"sign-in {row.email} {row.secret}")

    def load(self, folder: Path, options: dict[str, Any]) -> None:
        """Load people and work, then the pictures in the order in which they are worth having."""
        scenario = read_scenario()
        people = load_people(scenario)
        pitch_mm = SIZES[options["size"]]["visible"] / _UM_PER_MM
        face = load_work(scenario, people, canvas_pitch_mm=pitch_mm)
        loader = PictureLoader(scenario, people, face, folder=folder, does_jobs=options["here"])
        names = [entry["name"] for entry in scenario["images"]]
        wanted = [name for name in names if name in _FIRST_IMAGES] if options["first"] else names
        progress = _LineProgress()
        if options["first"]:
            loader.load(wanted, size=options["size"], seed=options["seed"], say=progress)
            loader.wait_until_published(wanted)
        else:
            # One after the other, so that each can be looked at while the next is painted.
            for name in wanted:
                loader.load([name], size=options["size"], seed=options["seed"], say=progress)
                load_marks(scenario, people, face=face)


class _LineProgress:
    """Says on standard error what is being done, how far it is and how long it has taken."""

    def __init__(self) -> None:
        self.label, self.begun_s, self.said_s = "", time.monotonic(), 0.0

    def __call__(self, label: str, share: float) -> None:
        """Take one report; at most one line a second reaches the screen."""
        now_s = time.monotonic()
        if label != self.label:
            self.label, self.begun_s, self.said_s = label, now_s, 0.0
        if now_s - self.said_s < 1.0 and share < 1.0:
            return
        self.said_s = now_s
        spent_s = now_s - self.begun_s
        left = f", {spent_s / share * (1 - share):.0f} s left" if share > 0.02 else ""
        sys.stderr.write(f"{label}: {share:.0%}{left}\n")
