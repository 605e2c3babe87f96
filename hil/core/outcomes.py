"""How a check that is no pass leaves its function: raised by what runs checks, never by a check."""


class CheckFailed(AssertionError):
    """The unit broke a promise."""


class Unjudged(Exception):
    """A witness was asleep or the bench broke: nobody can say."""


class NotReached(Exception):
    """The unit never came to the stage the leg begins from."""
