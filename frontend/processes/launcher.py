"""Become another program: under another account, and ended when the parent ends.

Run as a script (`python -I -S launcher.py …`) so that it starts in a few milliseconds and changes
nothing in the process that starts it. PostgreSQL refuses to run as root; where root starts it, it
runs under an account without rights. That account must be able to pass through the folders above
the checkout (a checkout below /root, say): it then keeps this one right of root, and no other.
"""

import argparse
import ctypes
import os
import signal
import sys
from pathlib import Path

__all__ = ["main"]

# linux/prctl.h and linux/capability.h
_PR_SET_PDEATHSIG = 1
_PR_SET_KEEPCAPS = 8
_PR_CAP_AMBIENT = 47
_PR_CAP_AMBIENT_RAISE = 2
_CAPABILITY_VERSION_3 = 0x20080522
_CAP_DAC_OVERRIDE = 1
_CAP_DAC_READ_SEARCH = 2


class _CapabilityHeader(ctypes.Structure):
    _fields_ = [("version", ctypes.c_uint32), ("pid", ctypes.c_int)]


class _CapabilitySet(ctypes.Structure):
    _fields_ = [("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("inheritable", ctypes.c_uint32)]


def main(arguments: list[str]) -> None:
    """Read the options, change this process, then become the program."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--parent", type=int, required=True)
    parser.add_argument("--signal-at-parent-death", type=int, default=0)
    parser.add_argument("--user", type=int)
    parser.add_argument("--group", type=int)
    parser.add_argument("--keep-passage", action="store_true")
    parser.add_argument("program", nargs="+")
    options = parser.parse_args(arguments)
    if options.user is not None:
        _change_account(options.user, options.group, is_passage_kept=options.keep_passage)
    if options.signal_at_parent_death and sys.platform == "linux":
        # After the change of account, which would clear it.
        _prctl(_PR_SET_PDEATHSIG, options.signal_at_parent_death)
        if os.getppid() != options.parent:
            os.kill(os.getpid(), signal.SIGKILL)
    os.execv(options.program[0], options.program)


def _change_account(user_id: int, group_id: int, *, is_passage_kept: bool) -> None:
    capability = _passage_capability() if is_passage_kept and sys.platform == "linux" else None
    if capability is not None:
        _prctl(_PR_SET_KEEPCAPS, 1)
    os.setgroups([])
    os.setgid(group_id)
    os.setuid(user_id)
    if capability is not None:
        _keep_only(capability)


def _passage_capability() -> int | None:
    """Return the weakest right at hand that opens folders closed to others."""
    with Path("/proc/self/status").open(encoding="ascii") as status:
        permitted = next(int(line.split()[1], 16) for line in status if line.startswith("CapPrm:"))
    for capability in (_CAP_DAC_READ_SEARCH, _CAP_DAC_OVERRIDE):
        if permitted >> capability & 1:
            return capability
    return None


def _keep_only(capability: int) -> None:
    bit = 1 << capability
    header = _CapabilityHeader(_CAPABILITY_VERSION_3, 0)
    sets = (_CapabilitySet * 2)(_CapabilitySet(bit, bit, bit), _CapabilitySet(0, 0, 0))
    if ctypes.CDLL(None, use_errno=True).capset(ctypes.byref(header), ctypes.byref(sets)) != 0:
        raise OSError(ctypes.get_errno(), "capset")
    _prctl(_PR_CAP_AMBIENT, _PR_CAP_AMBIENT_RAISE, capability)


def _prctl(operation: int, first: int, second: int = 0) -> None:
    arguments = [ctypes.c_ulong(value) for value in (first, second, 0, 0)]
    if ctypes.CDLL(None, use_errno=True).prctl(operation, *arguments) != 0:
        raise OSError(ctypes.get_errno(), "prctl")


if __name__ == "__main__":
    main(sys.argv[1:])
