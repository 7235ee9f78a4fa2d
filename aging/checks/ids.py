"""The name of a finding: the same for the same rule and readings, whoever makes it and when."""

from __future__ import annotations

import hashlib


def finding_id(rule: str, *readings: str) -> str:
    """Eight hexadecimal digits of a rule and of what it doubts (reading ids, or places)."""
    told = "\n".join(sorted(f"{rule}\n{one}" for one in readings))
    return hashlib.sha256(told.encode()).hexdigest()[:8]
