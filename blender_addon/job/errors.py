"""Which errors can a user mend? This small family; operators and the command line catch it and nothing else."""

from __future__ import annotations


class JobError(Exception):
    """Something the user can put right. The message says what, where and what to do, in one sentence or two."""


class SheetError(JobError):
    """The job sheet holds something that can't be used."""


class InputError(JobError):
    """A file that was handed in can't be used."""


class SubjectError(JobError):
    """The scan's content does not allow what was asked."""


class OutputError(JobError):
    """Something can't be written."""
