"""What can be wrong with a table of files, a path, or a job."""

from .base_errors import ImagingError

__all__ = [
    "FileUnreadableError",
    "JobLostError",
    "TableRefusedError",
]


class TableRefusedError(ImagingError):
    """A table has lines that cannot be used; nothing of it was received."""

    code = "table_refused"

    def __init__(self, *, table: str, problems: list[str]):
        self.table, self.problems = table, problems
        super().__init__(
            f"{table}: nothing was received, {len(problems)} problem(s) must be corrected first.\n"
            + "\n".join(problems)
        )


class FileUnreadableError(ImagingError):
    """A path that cannot be read."""

    code = "file_unreadable"

    def __init__(self, *, file_name: str, reason: str):
        self.file_name, self.reason = file_name, reason
        super().__init__(f"{file_name} cannot be read: {reason}. Check the path and its permissions.")


class JobLostError(ImagingError):
    """The job was given to another worker; this run must write nothing."""

    code = "job_lost"

    def __init__(self, *, job_id: object):
        self.job_id = str(job_id)
        super().__init__(f"Job {job_id} was given to another worker meanwhile. Look at its state on the page of jobs.")
