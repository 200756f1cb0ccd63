"""The other end of `guard.run_guarded`: what runs in the child process."""

import importlib
import json
import os
import resource
import sys
import threading
from typing import Any, BinaryIO

# Nothing heavy is imported here: the limits must hold before a library is loaded.

__all__ = ["main"]

# Its last words go to a file too, so a limit of 0 still leaves room for them.
_LEAST_WRITTEN_BYTES = 65_536
# A thread that cannot be made has found no room for its stack.
_MEMORY_WORDS = ("out of memory", "insufficient memory", "cannot allocate", "creating thread")


def main() -> None:
    """Read one request from standard input, limit this process, answer through the pipe."""
    reply_to = os.fdopen(int(sys.argv[1]), "wb", buffering=0)
    request = json.loads(sys.stdin.buffer.readline())
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _limit(request["limits"])
    try:
        answer = {"result": _called(request["function"], request["arguments"], reply_to)}
    except MemoryError:
        answer = {"error": {"class": "MemoryError", "message": ""}}
    except Exception as err:  # noqa: BLE001 - the parent decides what each error means
        answer = {"error": _described(err)}
    _send(reply_to, answer)
    reply_to.close()
    # Libraries with threads of their own may hang at exit after running out of memory.
    os._exit(0)


def _called(function: str, arguments: dict[str, Any], reply_to: BinaryIO) -> Any:
    module_name, _, name = function.partition(":")
    target = getattr(importlib.import_module(module_name), name)

    def progress(done: int, total: int) -> None:
        _send(reply_to, {"progress": [done, total]})

    return target(**arguments, progress=progress)


def _send(reply_to: BinaryIO, reply: dict[str, Any]) -> None:
    data = json.dumps(reply).encode() + b"\n"
    while data:
        data = data[reply_to.write(data) :]


def _described(err: Exception) -> dict[str, Any]:
    if _says_memory(err):
        return {"class": "MemoryError", "message": str(err)}
    attributes = {name: value for name, value in vars(err).items() if _is_json(value)}
    return {"class": type(err).__name__, "message": str(err), "attributes": attributes}


def _says_memory(err: BaseException | None) -> bool:
    """Whether an error, or one that led to it, is about memory, by its words too: libvips."""
    while err is not None:
        words = str(err).lower()
        if isinstance(err, MemoryError) or any(each in words for each in _MEMORY_WORDS):
            return True
        err = err.__cause__ or err.__context__
    return False


def _is_json(value: object) -> bool:
    try:
        json.dumps(value)
    except (TypeError, ValueError):
        return False
    return True


def _limit(limits: dict[str, Any]) -> None:
    for kind, wanted in (
        (resource.RLIMIT_AS, int(limits["memory_bytes"])),
        (resource.RLIMIT_FSIZE, max(int(limits["written_bytes"]), _LEAST_WRITTEN_BYTES)),
        (resource.RLIMIT_NOFILE, int(limits["open_files"])),
        (resource.RLIMIT_CORE, 0),
    ):
        _, hard = resource.getrlimit(kind)
        bound = wanted if hard == resource.RLIM_INFINITY else min(wanted, hard)
        resource.setrlimit(kind, (bound, bound))


def _end_with_parent() -> None:
    """Wait for the end of standard input: the parent is gone, so is the reason to work."""
    while os.read(0, 4096):
        pass
    os._exit(1)


if __name__ == "__main__":
    main()
