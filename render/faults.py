"""What can go wrong, and how it is told.

    DropkilnError                 exit status
    ├── UsageError                2   the command was called in a way that cannot work
    ├── SourceError               1   a recording cannot be read, or not as it must be
    ├── ToolError                 1   an outside program is missing or failed
    │   └── ToolStopped           1   … was killed, or did not end in time: another try may do
    └── OutputError               1   a result cannot be written
        └── DiskFull              1   … for want of room: nor can the next one

Every message is one line: what is wrong; what would be right.
"""

from dataclasses import dataclass

EXIT_ALL_MADE = 0
EXIT_SOME_FAILED = 1
EXIT_IN_ERROR = 2


@dataclass(frozen=True, order=True)
class Fault:
    """One error of a recipe, at the place a person has to change. Lines and columns count from 1."""

    file: str
    line: int
    column: int
    code: str
    wrong: str
    right: str

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: {self.wrong}; {self.right}"


class DropkilnError(Exception):
    """The root of everything this program raises on purpose."""

    exit_status = EXIT_SOME_FAILED


class _Told(DropkilnError):
    """An error with its subject, what is wrong with it and what would be right."""

    def __init__(self, subject: str, wrong: str, right: str) -> None:
        self.subject, self.wrong, self.right = subject, wrong, right
        super().__init__(subject, wrong, right)

    def __str__(self) -> str:
        return f"{self.subject}: {self.wrong}; {self.right}"


class UsageError(_Told):
    exit_status = EXIT_IN_ERROR


class SourceError(_Told):
    """`subject` is the recording's file."""


class ToolError(_Told):
    """`subject` is the program's name."""


class ToolStopped(ToolError):
    """What stopped the program may be over by now: a want of memory, or a busy machine."""


class OutputError(_Told):
    """`subject` is the file or folder that could not be written."""


class DiskFull(OutputError):
    """There is no room for `subject`: on the disk, in a quota, or in one file."""
