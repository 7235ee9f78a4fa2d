"""Long fits, beside the pages: one job for all who ask, with progress, and a way to cancel it.

A page that needs a fit which is not there raises `Running`; the entry script shows how far it is
and runs the page again when it is done. The work is done in a process of its own, which leaves
it on the shelf; with the shelf off, in a thread of the server.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass, field
from threading import Event, Lock, Thread
from typing import TYPE_CHECKING

import streamlit as st

import aging
from aging import shelf
from aging.records import Exposure
from aging.vocabulary import property_named
from dashboard import fit_words

if TYPE_CHECKING:
    from aging.projection import Fit

LONG, PATIENCE = 15_000, 1.0  # readings of a property; seconds before a page shows progress
DONE = "fitted"
Key = tuple[str, object, str, str | None]  # source, mark, property, as of


class Running(Exception):  # noqa: N818 - not an error
    """A fit that a page waits for."""

    def __init__(self, job: Job) -> None:
        super().__init__(job.key[2])
        self.job = job


class Stopped(Exception):  # noqa: N818 - not an error
    """A fit was cancelled."""


@dataclass
class Job:
    """A fit under way, or what became of it."""

    key: Key
    exposure: Exposure
    done: int = 0
    of: int = 0
    cancelled: bool = False
    fit: Fit | None = None
    error: BaseException | None = None
    ended: Event = field(default_factory=Event)

    def run(self) -> None:
        """Fit; the outcome is in `fit` or `error`."""
        from aging.projection.apart import fit_apart

        source, _, prop, as_of = self.key
        name = shelf.digest(self.key)
        try:
            known = shelf.folder() is None or shelf.has(DONE, name)
            if known or fit_apart(source, prop, as_of, on_progress=self._told):
                self.fit = aging.fit(
                    self.exposure, property=prop, as_of=as_of, on_progress=self._must
                )
                shelf.put(DONE, name, shelf.Kept())
        except BaseException as error:  # noqa: BLE001 - told to whoever asks for the fit
            self.error = error
        finally:
            self.ended.set()

    def _told(self, done: int, of: int) -> bool:
        self.done, self.of = done, of
        return not self.cancelled

    def _must(self, done: int, of: int) -> None:
        if not self._told(done, of):
            raise Stopped


@st.cache_resource
def _jobs() -> tuple[dict[Key, Job], Lock]:
    return {}, Lock()


def is_long(exposure: Exposure, prop: str) -> bool:
    """Whether a fit takes so long that a page should not."""
    readings = exposure.readings
    return len(readings) > LONG and int((readings["property"] == prop).sum()) > LONG


def fit(key: Key, exposure: Exposure) -> Fit:
    """The fit of a property, once it is there; Running until then, or where it was cancelled."""
    jobs, lock = _jobs()
    with lock:
        job = jobs.get(key)
        if job is None:
            job = jobs[key] = Job(key, exposure)
            Thread(target=job.run, daemon=True).start()
    job.ended.wait(PATIENCE)
    if not job.ended.is_set() or job.cancelled:
        raise Running(job)
    _forget(job)
    if job.fit is None:
        raise job.error or Stopped
    return job.fit


def _forget(job: Job) -> None:
    jobs, lock = _jobs()
    with lock, suppress(KeyError):
        if jobs[job.key] is job:
            del jobs[job.key]


def show(job: Job) -> None:
    """How far a job is, until it has ended."""
    label = property_named(job.key[2]).label
    if job.cancelled:
        st.text(fit_words.CANCELLED.format(label=label))
        st.button(fit_words.AGAIN, on_click=_forget, args=(job,))
    else:
        st.fragment(_watch, run_every=1.0)(job, label)


def _watch(job: Job, label: str) -> None:
    if job.ended.is_set():
        st.rerun()
    text = fit_words.PROGRESS if job.of else fit_words.BEGINS
    st.progress(job.done / max(job.of, 1), text.format(label=label, done=job.done, of=job.of))
    if st.button(fit_words.CANCEL):
        job.cancelled = True
        job.ended.wait(PATIENCE)
        st.rerun()
