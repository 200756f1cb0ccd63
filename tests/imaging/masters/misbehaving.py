"""Functions that do in the guarded child what a hostile file could make a decoder do."""

import os
import signal
import sys
import time
from pathlib import Path


def echo(*, words, progress):
    return {"words": words}


def sleep(*, seconds, progress, file_name=""):
    time.sleep(seconds)


def start_a_child_and_sleep(*, pid_file, progress, file_name=""):
    import subprocess

    child = subprocess.Popen([sys.executable, "-c", "import time; time.sleep(60)"])
    Path(pid_file).write_text(f"{os.getpid()} {child.pid}")
    time.sleep(60)


def fill_memory(*, progress, file_name=""):
    return len(bytearray(2**33))


def die(*, name, progress, file_name=""):
    os.kill(os.getpid(), getattr(signal, name))
    time.sleep(10)


def leave(*, code, progress, file_name=""):
    print("the last words", file=sys.stderr, flush=True)
    os._exit(code)


def count(*, steps, progress):
    for step in range(steps):
        progress(step + 1, steps)
    return steps


def surroundings(*, progress):
    return {
        "descriptors": sorted(int(each.name) for each in Path("/proc/self/fd").iterdir()),
        "environment": sorted(os.environ),
    }


def write_a_file(*, path, progress, file_name=""):
    Path(path).write_bytes(bytes(10**6))


def raise_a_foreign_error(*, progress, file_name=""):
    raise KeyError("secret")


def flood(*, progress, file_name=""):
    for _ in range(100):
        os.write(int(sys.argv[1]), bytes(2**20))


def lie(*, progress, file_name=""):
    os.write(int(sys.argv[1]), b'{"error": {"class": "Popen", "message": "rm"}}\n')
    time.sleep(10)
