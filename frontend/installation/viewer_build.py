"""Build the viewer (TypeScript) into frontend/viewer/dist, only when its sources changed."""

from __future__ import annotations

import fcntl
import hashlib
import os
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from frontend.installation.disk import MIB_BYTES, refuse_full_disk
from frontend.installation.node import NodeTools, find_node
from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError

__all__ = ["ViewerBuild"]

_IGNORED_FOLDERS = {"node_modules", "dist", "coverage"}
_NEEDED_BYTES = 600 * MIB_BYTES
_EXPECTED_INSTALL_S = 15.0
_EXPECTED_BUILD_S = 8.0
_NETWORK_SIGNS = ("ENOTFOUND", "EAI_AGAIN", "ECONNREFUSED", "ETIMEDOUT", "ECONNRESET", "network")


class ViewerBuild:
    """The viewer of one checkout: its packages, its sources and its built files."""

    def __init__(self, root: Path, *, site_packages: Path):
        self.folder = root / "frontend" / "viewer"
        self.output = self.folder / "dist"
        self.log = root / "var" / "log" / "viewer_build.log"
        self._site_packages = site_packages
        self._build_stamp = self.output / ".built-from"
        self._packages_stamp = self.folder / "node_modules" / ".installed-from"

    def is_current(self) -> bool:
        """Tell whether the built files come from the present sources."""
        return _text_of(self._build_stamp) == self._fingerprint()

    def build(self) -> None:
        """Build when the sources differ from what was built last; safe to call at any time."""
        if self.is_current():
            return
        self.log.parent.mkdir(parents=True, exist_ok=True)
        with _one_at_a_time(self.folder):
            if self.is_current():
                return
            fingerprint = self._fingerprint()
            tools = self.install_packages()
            self._build_stamp.unlink(missing_ok=True)
            vite = self.folder / "node_modules" / "vite" / "bin" / "vite.js"
            self._run("Building the viewer", [str(tools.node), str(vite), "build"], tools, expected_s=_EXPECTED_BUILD_S)
            self._build_stamp.write_text(fingerprint, encoding="utf-8")

    def install_packages(self) -> NodeTools:
        """Install the locked npm packages when the lock changed; return the Node.js used."""
        tools = find_node(self._site_packages)
        lock_fingerprint = hashlib.sha256((self.folder / "package-lock.json").read_bytes()).hexdigest()
        if _text_of(self._packages_stamp) != lock_fingerprint:
            refuse_full_disk(self.folder, needed_bytes=_NEEDED_BYTES, purpose="Building the viewer")
            self.log.parent.mkdir(parents=True, exist_ok=True)
            command = [str(tools.npm), "ci", "--no-progress"]
            self._run("Installing the viewer's packages", command, tools, expected_s=_EXPECTED_INSTALL_S)
            self._packages_stamp.write_text(lock_fingerprint, encoding="utf-8")
        return tools

    def _run(self, title: str, command: list[str], tools: NodeTools, *, expected_s: float) -> None:
        with Progress(title, expected_s=expected_s) as progress, self.log.open("w+", encoding="utf-8") as log:
            process = subprocess.Popen(
                command, cwd=self.folder, env=tools.environment(), stdin=subprocess.DEVNULL, stdout=log, stderr=log
            )
            try:
                while _is_running(process):
                    progress.update_by_time()
            finally:
                process.kill()
            log.seek(0)
            output = log.read()
        if process.returncode != 0:
            raise InstallationError(_sentence(title, output, log=self.log))

    def _fingerprint(self) -> str:
        digest = hashlib.sha256()
        for path in _sources(self.folder):
            digest.update(f"{path.relative_to(self.folder)}\0".encode())
            digest.update(hashlib.sha256(path.read_bytes()).digest())
        return digest.hexdigest()


def _sources(folder: Path) -> Iterator[Path]:
    """Yield the files that decide what is built, in a fixed order."""
    for parent, folders, names in os.walk(folder):
        folders[:] = sorted(name for name in folders if name not in _IGNORED_FOLDERS)
        for name in sorted(names):
            if not name.startswith(".") and not name.endswith(".test.ts"):
                yield Path(parent) / name


def _is_running(process: subprocess.Popen[bytes]) -> bool:
    try:
        process.wait(timeout=0.25)
    except subprocess.TimeoutExpired:
        return True
    return False


def _sentence(title: str, output: str, *, log: Path) -> str:
    if "ENOSPC" in output:
        return f"{title} failed because the disk is full: make 1 GiB room and run this command again."
    if "npm error" in output and any(sign in output for sign in _NETWORK_SIGNS):
        return (
            f"{title} failed because the npm registry could not be reached: connect this machine to the network "
            "(or set npm_config_registry to one inside your house) and run this command again."
        )
    lines = [line.strip() for line in output.splitlines() if line.strip()]
    return f"{title} failed ({lines[-1] if lines else 'no answer'}): see {log}, correct it and run this command again."


def _text_of(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except OSError:
        return ""


@contextmanager
def _one_at_a_time(folder: Path) -> Iterator[None]:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX)
        yield
    finally:
        os.close(descriptor)
