"""The errors this project raises on purpose.

Anything else that escapes is a bug and keeps its traceback.
"""


class ToothbeatError(Exception):
    """Base of every error whose message is meant for the person at the router."""


class InputError(ToothbeatError, ValueError):
    """A value the caller passed is outside what the function can use.

    The three parts are kept so that a front end can word its own message and a
    test need not match prose.
    """

    def __init__(self, what: str, value: object, allowed: str) -> None:
        super().__init__(f"{what} must be {allowed}, got {value!r}")
        self.what = what
        self.value = value
        self.allowed = allowed
