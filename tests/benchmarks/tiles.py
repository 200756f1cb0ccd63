"""Tiles as they are served, against nginx with the same bytes as files, in one run on one machine."""

import dataclasses
import datetime as dt
import random
import re
import subprocess
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import tifffile
from django.conf import settings

from frontend.access_check.cast import session_key_of
from frontend.access_check.own_server import free_port, own_server
from frontend.processes.system_package import program_path
from imaging.compute.pyramid.tile_reader import PyramidFile
from imaging.models import Artwork, Face, Person, Pyramid, PyramidKind, Visibility
from imaging.services.framing import FrameDescription, set_up_frame
from imaging.services.master_files import Incoming
from imaging.services.people import create_study
from imaging.services.receiving import bring_in_image
from imaging.services.slips import Slip
from imaging.services.storage_paths import absolute_path
from imaging.services.tasks import run_jobs_here
from tests.benchmarks.row import Row

__all__ = ["ROWS"]

SIDE_PX = 4096
TILES_ASKED = 200
RUN_S = 4
#: Throughput of at least a third of nginx is time a tile of at most three times.
MOST_TIME_AGAINST_NGINX = 3.0
MOST_SERVER_TIME_MS = 1.5
SEED = 20261125


@dataclasses.dataclass(frozen=True)
class Served:
    """Two pyramids of one picture: for everybody, and for members only."""

    public: Pyramid
    restricted: Pyramid
    session_key: str


def fill(folder: Path) -> Served:
    """Bring one grainy picture in twice, public and for members, by the real services."""
    owner = Person.objects.create_user("owner@example.org", None, name="Ilse Korvander")
    study = create_study("Tiles", founder=owner)
    side_mm = SIDE_PX / 10
    artwork = Artwork.objects.create(
        study=study, inventory_number="T 1", title="Tiles", height_mm=side_mm, width_mm=side_mm
    )
    face = Face.objects.create(artwork=artwork)
    set_up_frame(face, FrameDescription(side_mm, side_mm, canvas_pitch_mm=0.1), made_by=owner)
    path = folder / "tiles.tif"
    grain = np.random.default_rng(SEED).normal(0, 6, (SIDE_PX, SIDE_PX, 1))
    rows, columns = np.mgrid[0:SIDE_PX, 0:SIDE_PX]
    forms = np.stack([rows / 16 % 256, columns / 16 % 256, (rows + columns) / 32 % 256], axis=-1)
    tifffile.imwrite(path, np.clip(forms + grain, 0, 255).astype(np.uint8), photometric="rgb")
    pyramids = [publish(path, face, owner, visibility) for visibility in (Visibility.PUBLIC, Visibility.STUDY)]
    return Served(pyramids[0], pyramids[1], session_key_of(owner))


def publish(path: Path, face: Face, owner: Person, visibility: Visibility) -> Pyramid:
    """Return the display pyramid of a picture brought in under a visibility."""
    slip = Slip(
        modality="VIS",
        state="before",
        title=visibility,
        um_per_px=100.0,
        visibility=visibility,
        campaign_date=dt.date(2022, 2, 14),
    )
    image = bring_in_image(Incoming(path=path, name=path.name), slip, face=face, person=owner).image
    run_jobs_here(image)
    return image.pyramids.get(kind=PyramidKind.DISPLAY, is_current=True)


def measure() -> Iterator[Row]:
    """Yield time a tile, ours against nginx's, with and without a right to check, for 1 and 64 connections."""
    wrk = program_path(("wrk",), package="wrk", purpose="The tile benchmark")
    nginx = program_path(("nginx",), package="nginx-light", purpose="The tile benchmark")
    with own_server(fill) as (address, served), tempfile.TemporaryDirectory(prefix="mahlstick-nginx-") as folder:
        file = PyramidFile(absolute_path(served.public.path))
        places = tile_places(file)
        write_tiles(Path(folder), file, places)
        with running_nginx(nginx, Path(folder)) as nginx_address:
            for connections in (1, 64):
                reference_s = seconds_a_tile(
                    wrk, nginx_address, [f"/{x}_{y}.jpg" for x, y in places], connections=connections
                )
                for name, pyramid, cookie in (
                    ("public", served.public, ""),
                    ("access checked", served.restricted, f"{settings.SESSION_COOKIE_NAME}={served.session_key}"),
                ):
                    zoom = pyramid.zooms - 1
                    paths = [f"/t/{pyramid.pk}/{zoom}/{x}/{y}" for x, y in places]
                    own_s = seconds_a_tile(wrk, address, paths, connections=connections, cookie=cookie)
                    plural = "connection" if connections == 1 else "connections"
                    label = f"tile hot, {name}, {connections} {plural}"
                    yield Row(label, own_s * 1e6, "us a tile", reference_s * 1e6, MOST_TIME_AGAINST_NGINX)
                    if connections == 1:
                        yield Row(f"tile server time, {name}", own_s * 1e3, "ms", None, MOST_SERVER_TIME_MS)


def tile_places(file: PyramidFile) -> list[tuple[int, int]]:
    """Return columns and rows of random tiles at full size."""
    side = SIDE_PX // file.tile_size_px
    chooser = random.Random(SEED)
    return [(chooser.randrange(side), chooser.randrange(side)) for _ in range(TILES_ASKED)]


def write_tiles(folder: Path, file: PyramidFile, places: list[tuple[int, int]]) -> None:
    """Write the bytes of tiles as files for nginx."""
    for x, y in set(places):
        tile = file.tile(len(file.zooms) - 1, x, y)
        assert tile is not None
        (folder / f"{x}_{y}.jpg").write_bytes(tile)


class running_nginx:  # noqa: N801 - used as a function
    """Run nginx on a folder until the block ends; gives its address."""

    def __init__(self, program: str, folder: Path):
        self.program, self.folder, self.port = program, folder, free_port()

    def __enter__(self) -> str:
        configuration = self.folder / "nginx.conf"
        configuration.write_text(
            f"daemon off; pid {self.folder}/nginx.pid; error_log {self.folder}/error.log; worker_processes auto;"
            + ("user root;" if Path("/root").exists() else "")
            + "events { worker_connections 1024; } http { access_log off; sendfile on; keepalive_requests 1000000;"
            + f"types {{ image/jpeg jpg; }} server {{ listen 127.0.0.1:{self.port}; root {self.folder}; }} }}"
        )
        self.process = subprocess.Popen([self.program, "-c", str(configuration)], stderr=subprocess.DEVNULL)
        time.sleep(1.0)
        return f"http://127.0.0.1:{self.port}"

    def __exit__(self, *_: object) -> None:
        self.process.terminate()
        self.process.wait(timeout=10)


def seconds_a_tile(wrk: str, address: str, paths: list[str], *, connections: int, cookie: str = "") -> float:
    """Return seconds a request at full load, after a warm-up; any answer but 200 is an error."""
    with tempfile.NamedTemporaryFile("w", suffix=".lua") as script:
        listed = ",".join(f'"{path}"' for path in paths)
        header = f'wrk.headers["Cookie"] = "{cookie}"' if cookie else ""
        script.write(
            f"{header}\nlocal paths = {{{listed}}}\nlocal i = 0\n"
            "request = function() i = i + 1; return wrk.format('GET', paths[i % #paths + 1]) end\n"
        )
        script.flush()
        command = [wrk, "-t1", f"-c{connections}", "-s", script.name, address]
        for seconds in (1, RUN_S):
            done = subprocess.run([*command, f"-d{seconds}s"], capture_output=True, text=True, check=True, timeout=60)
    if "Non-2xx" in done.stdout or "Socket errors" in done.stdout:
        raise RuntimeError(f"not every tile was served:\n{done.stdout}")
    rate = re.search(r"Requests/sec:\s+([\d.]+)", done.stdout)
    assert rate is not None, done.stdout
    return 1.0 / float(rate.group(1))


ROWS = {"tile": measure}
