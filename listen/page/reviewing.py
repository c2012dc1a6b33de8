"""Reviews in a process of their own: a strange file can hurt neither the page nor a live take."""

from __future__ import annotations

import asyncio
import json
import secrets
import sys
from dataclasses import dataclass, field
from typing import Any

from analysis.errors import ToothbeatError

_MOST_JOBS = 2
_MOST_REMEMBERED = 40
_LONGEST_S = 900.0
_MOST_LINE = 64 * 1024 * 1024


class BusyError(ToothbeatError):
    """Too many reviews at once."""


@dataclass(slots=True)
class Job:
    """A review under way: `share` done from 0 to 1, then `answer` or `error`."""

    owner: str
    share: float = 0.0
    answer: dict[str, Any] | None = None
    error: str | None = None
    task: asyncio.Task[None] | None = field(default=None, repr=False)


class Reviews:
    """Starts reviews and remembers the latest."""

    def __init__(self) -> None:
        self._jobs: dict[str, Job] = {}

    def find(self, name: str, owner: str) -> Job | None:
        """Return the job of that name, if it is this owner's."""
        job = self._jobs.get(name)
        return job if job is not None and job.owner == owner else None

    def start(self, order: dict[str, Any], *, owner: str) -> str:
        """Begin what `order` asks of the worker. Returns the job's name.

        Raises
        ------
        BusyError
            If two are under way already.
        """
        under_way = [job for job in self._jobs.values() if job.answer is None and job.error is None]
        if len(under_way) >= _MOST_JOBS:
            raise BusyError("Two reviews are under way. Try again when one is done.")
        while len(self._jobs) >= _MOST_REMEMBERED:
            self._jobs.pop(next(iter(self._jobs)))
        name = secrets.token_hex(8)
        job = self._jobs[name] = Job(owner)
        job.task = asyncio.create_task(_run(job, order))
        return name

    async def stop(self) -> None:
        """End what is under way."""
        tasks = [job.task for job in self._jobs.values() if job.task is not None]
        for task in tasks:
            task.cancel()
        await asyncio.gather(*tasks, return_exceptions=True)


async def _run(job: Job, order: dict[str, Any]) -> None:
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "listen.page.worker",
        stdin=asyncio.subprocess.PIPE,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.DEVNULL,
        limit=_MOST_LINE,
    )
    try:
        async with asyncio.timeout(_LONGEST_S):
            await _follow(process, job, order)
            await process.wait()
    except TimeoutError:
        job.error = "The review took too long and was given up. The recording is kept."
    except (OSError, ValueError):
        job.error = "The review stopped without a result. The recording is kept; try again."
    finally:
        if process.returncode is None:
            process.kill()
        await process.wait()
    if job.answer is None and job.error is None:
        job.error = "The review stopped without a result. The recording is kept; try again."


async def _follow(process: asyncio.subprocess.Process, job: Job, order: dict[str, Any]) -> None:
    if process.stdin is None or process.stdout is None:
        raise OSError
    process.stdin.write(json.dumps(order).encode())
    process.stdin.close()
    async for line in process.stdout:
        told = json.loads(line)
        if "share" in told:
            job.share = told["share"]
        elif "error" in told:
            job.error = told["error"]
        else:
            job.answer = told
