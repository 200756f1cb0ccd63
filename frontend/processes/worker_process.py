"""One worker: takes one job after the other from the queue until it is told to stop."""

from __future__ import annotations

import asyncio
import logging
import os
import signal
from collections.abc import Callable, Sized
from typing import Any

from asgiref.sync import sync_to_async
from procrastinate.contrib.django import app as queue

__all__ = ["run_worker"]

logger = logging.getLogger(__name__)

# A running job gets this long to reach its next safe point; then it is left and run again later.
_GRACE_S = 5.0
# How often jobs are looked for whose worker is gone, on this machine or another.
_LOOK_FOR_STALLED_S = 15.0
# The queue tells of new jobs at once; this is for those it could not tell of.
_POLL_S = 5.0


def run_worker(*, requeue_stalled: Callable[[], Sized], is_ending_when_idle: bool = False) -> None:
    """Work until TERM, Ctrl-C or, if wanted, an empty queue."""
    asyncio.run(_work(requeue_stalled, is_ending_when_idle=is_ending_when_idle))


async def _work(requeue_stalled: Callable[[], Sized], *, is_ending_when_idle: bool) -> None:
    connector: Any = queue.connector
    with queue.replace_connector(connector.get_worker_connector()) as worker_queue:
        async with worker_queue.open_async():
            await _requeue(requeue_stalled)
            working = asyncio.create_task(
                worker_queue.run_worker_async(
                    concurrency=1,
                    wait=not is_ending_when_idle,
                    install_signal_handlers=False,
                    fetch_job_polling_interval=_POLL_S,
                    shutdown_graceful_timeout=_GRACE_S,
                    name=f"worker-{os.getpid()}",
                )
            )
            looking = asyncio.create_task(_look_for_stalled(requeue_stalled))
            loop = asyncio.get_running_loop()
            for number in (signal.SIGINT, signal.SIGTERM):
                loop.add_signal_handler(number, _stop, loop, working)
            try:
                await working
            except asyncio.CancelledError:
                logger.info("worker told to stop")
            finally:
                looking.cancel()


def _stop(loop: asyncio.AbstractEventLoop, working: asyncio.Task[None]) -> None:
    """Stop taking jobs; a job that goes on for too long is left as if the machine had failed."""
    working.cancel()
    # Every step of a job may be cut off at any instant and is run again by another worker, so
    # this loses time and nothing else.
    loop.call_later(_GRACE_S + 1.0, os._exit, 0)


async def _look_for_stalled(requeue_stalled: Callable[[], Sized]) -> None:
    while True:
        await asyncio.sleep(_LOOK_FOR_STALLED_S)
        await _requeue(requeue_stalled)


async def _requeue(requeue_stalled: Callable[[], Sized]) -> None:
    found = await sync_to_async(requeue_stalled)()
    if len(found):
        logger.warning("%d jobs had lost their worker and wait again", len(found))
