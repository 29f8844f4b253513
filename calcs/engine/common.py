"""What every kind's input and result share: cautions, warnings, and the engine's version."""

from dataclasses import dataclass

ENGINE_VERSION = "1.1.0"


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """A safety caution to be shown with a result.

    ``code`` is stable, ``text`` is one plain sentence, ``source`` names the rule or says
    'common practice, no source'.
    """

    code: str
    text: str
    source: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ResultWarning:
    """Something about this input or result that a person should know before relying on it."""

    code: str
    text: str
