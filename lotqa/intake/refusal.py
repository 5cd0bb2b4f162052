"""A table that cannot be used as a whole."""

from collections.abc import Sequence

from lotqa.errors import UnusableInput
from lotqa.model import Problem


class Refused(UnusableInput):
    """Unusable input with its place kept apart, so that it can also be told as a problem."""

    def __init__(
        self, file: str, line: int | None, what: str, problems: Sequence[Problem] = ()
    ) -> None:
        where = file if line is None else f"{file}:{line}"
        super().__init__(f"{where}: {what}", tuple(problems))
        self.file, self.line, self.what = file, line, what

    def as_problem(self) -> Problem:
        """The same as a problem of a file that a lot can do without."""
        message = f"{self.what}; the file is left out"
        return Problem(self.file, self.line, None, None, message, row_used=False)
