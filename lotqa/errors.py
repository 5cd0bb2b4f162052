"""The errors that a person can mend; each message ends with what to do next."""


class LotqaError(Exception):
    """Base of all errors that are shown as one line, without a traceback."""


class UnusableInput(LotqaError):
    """Nothing can be computed from what was given; the problems found are attached.

    ``problems`` is a tuple of :class:`lotqa.model.Problem`, possibly empty.
    """

    def __init__(self, message: str, problems: tuple[object, ...] = ()) -> None:
        super().__init__(message)
        self.problems = problems


class UnusableCriteria(LotqaError):
    """A criteria or materials file has an entry that cannot be applied."""


class LedgerError(LotqaError):
    """The ledger cannot be opened, read or written."""


class TooFewReadings(LotqaError):
    """A statistic was asked of fewer values than it needs."""
