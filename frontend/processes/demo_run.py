"""The demo as one command: database, tables, web server, workers, pictures, then the address."""

from __future__ import annotations

import os
import secrets
import socket
import ssl
import subprocess
import sys
import time
import urllib.error
import urllib.request
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from frontend.installation.disk import GIB_BYTES, refuse_full_disk
from frontend.installation.progress import Progress
from frontend.installation.refusal import InstallationError
from frontend.processes.certificates import certificate_fingerprint, make_own_certificate, refuse_unfit_certificate
from frontend.processes.file_lock import FileLock
from frontend.processes.listening import Listening
from frontend.processes.ports import address_for_others, is_loopback, refuse_used_port
from frontend.processes.running_demo import RunningDemo
from frontend.processes.supervisor import Child, Supervisor
from frontend.processes.web_server import default_process_count

__all__ = ["DemoPlan", "DemoRun"]

_NEEDED_BYTES = {"small": 1 * GIB_BYTES, "default": 4 * GIB_BYTES, "full": 20 * GIB_BYTES}
_ANSWER_S = 60.0
_EXPECTED_TABLES_S = 6.0
_LOOK_S = 0.1
# A server that falls this often before its first page will not get up by itself.
_MOST_FALLS = 3


@dataclass(frozen=True)
class DemoPlan:
    """What was asked for on the command line, and where things are."""

    size: str
    listening: Listening
    root: Path
    data: Path


class DemoRun:
    """One run of the demo, from nothing to the last process ended."""

    def __init__(self, plan: DemoPlan, *, output: IO[str]):
        self._plan = plan
        self._output = output
        self._listening = plan.listening
        self._supervisor = Supervisor(plan.data / "log")
        self._manage = [sys.executable, str(plan.root / "manage.py")]

    def run(self, *, has_old_tables: bool) -> int:
        """Run until told to stop; return the exit code."""
        only_one = FileLock(self._plan.data / "run" / "demo.lock")
        if not only_one.try_acquire():
            raise InstallationError(
                f"The demo of {self._plan.data} runs already: end it first, or give this one data of its own by "
                "setting MAHLSTICK_DATA to another folder."
            )
        listening = self._plan.listening
        refuse_used_port(listening.host, listening.port)
        refuse_full_disk(self._plan.data, needed_bytes=_NEEDED_BYTES[self._plan.size], purpose="The demo")
        self._supervisor.take_signals()
        self._choose_transport()
        os.environ.update(self._settings())
        try:
            return self._run_processes(has_old_tables=has_old_tables)
        finally:
            self._supervisor.stop()

    def _run_processes(self, *, has_old_tables: bool) -> int:
        if has_old_tables:
            self._run_step("Preparing the database", ["migrate", "--no-input", "--verbosity", "0"])
        listening = self._listening
        options = ["--host", listening.host, "--port", str(listening.port), "--processes", str(default_process_count())]
        if listening.certificate:
            options += ["--certificate", str(listening.certificate), "--key", str(listening.key)]
        web_server = self._supervisor.add("web_server", [*self._manage, "serve", *options])
        # One worker is enough for the first pictures; more would only delay the page.
        self._supervisor.add("worker-1", [*self._manage, "worker"])
        sign_ins = self._load_first()
        self._wait_for_page(web_server)
        if self._supervisor.is_stopping:
            return 0
        pairs = [line.split(maxsplit=2)[1:] for line in sign_ins]
        note = RunningDemo(self._address(), tuple((email, password) for email, password in pairs)).note(self._plan.data)
        # A guest comes in by a link, not by a password.
        links = [f"guest-link {email} {self._address()}{secret}" for email, secret in pairs if secret.startswith("/")]
        people = [f"sign-in {email} {secret}" for email, secret in pairs if not secret.startswith("/")]
        self._say([*links, f"address {self._address()}", *people])
        # The pictures that are compared first are there; the others come in while people look.
        self._supervisor.add("loader", self._loader(), is_task=True)
        for number in range(2, default_process_count() + 1):
            self._supervisor.add(f"worker-{number}", [*self._manage, "worker"])
        self._supervisor.watch()
        note.unlink(missing_ok=True)
        return 0

    def _choose_transport(self) -> None:
        """Check the certificate given, or make one when others in the network shall come in."""
        listening = self._plan.listening
        if listening.certificate and listening.key:
            refuse_unfit_certificate(listening.certificate, listening.key)
        elif not is_loopback(listening.host):
            hosts = [host for host in self._hosts() if not host.startswith("[")]
            certificate, key = make_own_certificate(self._plan.data / "certificates", hosts=hosts)
            self._listening = Listening(listening.host, listening.port, certificate, key)
            sys.stderr.write(
                "No certificate was given: one was made here. Browsers warn once; go on only if the fingerprint they "
                f"show is SHA-256 {certificate_fingerprint(certificate)}\n"
            )

    def _settings(self) -> dict[str, str]:
        """Return the settings that the demo chooses itself, where the environment says nothing."""
        chosen = {
            "MAHLSTICK_SECRET_KEY": self._secret_key(),
            "MAHLSTICK_HOSTS": ",".join(self._hosts()),
            "MAHLSTICK_ADDRESS": self._address(),
        }
        return {name: value for name, value in chosen.items() if not os.environ.get(name)}

    def _hosts(self) -> list[str]:
        hosts = [address_for_others(self._plan.listening.host), socket.gethostname(), "localhost", "127.0.0.1"]
        return list(dict.fromkeys([*hosts, "[::1]"]))

    def _address(self) -> str:
        return self._listening.address(address_for_others(self._listening.host))

    def _secret_key(self) -> str:
        """Return this installation's own key, so that sign-ins outlive a restart."""
        path = self._plan.data / "secret_key"
        if not path.exists():
            descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(descriptor, "w", encoding="ascii") as key_file:
                key_file.write(secrets.token_urlsafe(50))
        return path.read_text(encoding="ascii")

    def _run_step(self, title: str, arguments: list[str]) -> None:
        log_path = self._plan.data / "log" / "demo.log"
        with log_path.open("ab") as log, Progress(title, expected_s=_EXPECTED_TABLES_S) as progress:
            step = subprocess.Popen([*self._manage, *arguments], stdin=subprocess.DEVNULL, stdout=log, stderr=log)
            while step.poll() is None:
                progress.update_by_time()
                time.sleep(_LOOK_S)
        if step.returncode != 0:
            raise InstallationError(
                f"{title} failed (exit code {step.returncode}): the reason is at the end of {log_path}."
            )

    def _load_first(self) -> list[str]:
        """Let people and the first pictures come in; return the sign-in lines."""
        return_code, printed = self._supervisor.run_to_end([*self._loader(), "--first"])
        if return_code != 0 and not self._supervisor.is_stopping:
            raise InstallationError(
                f"The demo's pictures could not be brought in (exit code {return_code}); the reason stands above. "
                "Start the demo again: what was done is kept."
            )
        return [line for line in printed.splitlines() if line.startswith("sign-in ")]

    def _loader(self) -> list[str]:
        return [*self._manage, "load_demo", "--size", self._plan.size]

    def _wait_for_page(self, web_server: Child) -> None:
        deadline_s = time.monotonic() + _ANSWER_S
        while not self._supervisor.is_stopping and not self._is_page_there():
            self._supervisor.watch_once()
            if time.monotonic() > deadline_s or web_server.falls >= _MOST_FALLS:
                raise InstallationError(
                    f"The page does not answer at {self._address()}: the reason is at the end of {web_server.log}."
                )
            time.sleep(_LOOK_S)

    def _is_page_there(self) -> bool:
        host = self._listening.host
        asked = self._listening.address("127.0.0.1" if host == "0.0.0.0" else host)  # noqa: S104 - compared
        # Only whether it answers is asked here; a certificate of one's own is no reason to doubt it.
        context = ssl.create_default_context()
        context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
        try:
            with urllib.request.urlopen(f"{asked}/", timeout=5, context=context) as answer:  # noqa: S310
                return bool(answer.status == 200)
        except urllib.error.HTTPError as answer:
            return answer.code < 500
        except (OSError, urllib.error.URLError):
            return False

    def _say(self, lines: list[str]) -> None:
        self._output.write("\n".join(lines) + "\n")
        self._output.flush()
