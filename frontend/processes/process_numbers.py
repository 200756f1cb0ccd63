"""Whether a process of a given number exists."""

import os

__all__ = ["is_process"]


def is_process(process_id: int) -> bool:
    """Tell whether a process exists, whoever owns it."""
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
