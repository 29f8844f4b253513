"""What the phones of a soak test sent and were told of it: what the stored rows must agree with."""

from dataclasses import dataclass, field
from typing import Any

Row = dict[str, Any]


@dataclass(slots=True, kw_only=True)
class Entry:
    """One thing that a phone noted, as it was sent; acknowledged once the service has said that it has it."""

    kind: str  # one of those that are compared
    key: str
    sequence: int
    body: Row
    by_sync: bool = False
    acknowledged: bool = False


@dataclass(slots=True)
class Ledger:
    """All entries and requests of all clients; each client writes in its own, and they are added up at the end."""

    entries: dict[str, Entry] = field(default_factory=dict)
    submitted: set[str] = field(default_factory=set)  # surveys whose submit was acknowledged
    requests: int = 0
    retries: int = 0
    replies_dropped: int = 0
    longest_wait_s: float = 0.0  # of one request, from its first try to its answer
    refused: list[str] = field(default_factory=list)

    def note(self, entry: Entry) -> Entry:
        """Write an entry down before it is sent."""
        self.entries[entry.key] = entry
        return entry

    def add(self, other: "Ledger") -> None:
        """Add what another client wrote."""
        self.entries |= other.entries
        self.submitted |= other.submitted
        self.requests += other.requests
        self.retries += other.retries
        self.replies_dropped += other.replies_dropped
        self.longest_wait_s = max(self.longest_wait_s, other.longest_wait_s)
        self.refused += other.refused
