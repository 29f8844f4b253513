"""What the engine raises. Each error carries the field it is about, so that a caller can point at it."""


class EngineError(ValueError):
    """Base of everything the engine raises on purpose.

    Parameters
    ----------
    message : str
        One plain sentence, with the legal range where there is one.
    field : str
        Path of the input field, such as ``readings[3].value_in``; empty when no single field is to blame.
    """

    def __init__(self, message: str, *, field: str = "") -> None:
        self.message = message
        self.field = field
        super().__init__(f"{field}: {message}" if field else message)


class InvalidInput(EngineError):
    """The input is wrong; nothing was computed."""


class NoConvergence(EngineError):
    """The input is right but the solver gave no usable answer."""
