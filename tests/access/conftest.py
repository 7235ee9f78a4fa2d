"""A cheap hasher for passcodes, where its cost is not what is tested."""

from __future__ import annotations

import pytest
from argon2 import PasswordHasher

from aging.access import passcodes


@pytest.fixture
def quick(monkeypatch):
    hasher = PasswordHasher(time_cost=1, memory_cost=64, parallelism=1)
    monkeypatch.setattr(passcodes, "_hasher", lambda: hasher)
    passcodes._nobody.cache_clear()  # noqa: SLF001
    yield
    passcodes._nobody.cache_clear()  # noqa: SLF001
