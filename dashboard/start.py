"""A source to begin with: the sample, a trial of one's own, readings that are there already."""

from __future__ import annotations

import atexit
import shutil
import tempfile
from contextlib import suppress
from pathlib import Path

import streamlit as st

from aging import intake
from aging.errors import AgingError, LedgerError, require
from aging.fieldwork.new_trial import Trial, new_trial
from aging.ledger import open_ledger
from aging.records import Intake
from aging.simulation.sample import write_sample
from aging.source import STORE_SUFFIXES, is_store, open_source
from dashboard import data, network
from dashboard import start_words as words

SAMPLE, MADE = "sample_exposure", "trial was made"


def is_local() -> bool:
    """Whether nobody but who sits at this machine reaches the server."""
    address = st.get_option("server.address")
    return bool(address) and network.is_local(address)


def own_folder() -> Path:
    """A new folder that is removed when the server stops."""
    folder = tempfile.mkdtemp(prefix="aging-")
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    return Path(folder)


@st.cache_resource(show_spinner=words.MAKING)
def sample() -> str:
    """The sample as a store of this server's own; it is invented anew, so a wheel has it too."""
    folder = own_folder()
    write_sample(folder / SAMPLE)
    store = folder / f"{SAMPLE}.sqlite"
    with open_ledger(store, create=True) as book:
        book.append(intake.read(folder / SAMPLE).exposure, by="the sample", source=SAMPLE)
    return str(store)


def home() -> Path:
    """Where new stores are kept: the person's documents, or the home folder without any."""
    documents = Path.home() / "Documents"
    return documents if documents.is_dir() else Path.home()


def free_place(name: str = "trial") -> str:
    """A file there that is not yet."""
    places = (home() / f"{name}{number or ''}.sqlite" for number in range(1000))
    return str(next(place for place in places if not place.exists()))


def stores_at_home() -> list[str]:
    """Stores where new ones are kept, the latest first."""
    with suppress(OSError):
        found = [one for one in home().iterdir() if one.suffix in STORE_SUFFIXES and one.is_file()]
        return [str(one) for one in sorted(found, key=lambda p: -p.stat().st_mtime)]
    return []


def shown(source: str) -> str:
    """A source as it may be shown, a URL without its password."""
    if "://" not in source:
        return source
    before, _, host = source.rpartition("@")
    scheme, _, who = before.partition("://")
    return f"{scheme}://{who.partition(':')[0]}@{host}" if before else source


def open_named(source: str) -> None:
    """Open a source that a person named; AgingError where it cannot be read."""
    source = source.strip().strip('"')
    require(bool(source), "source", source, words.PATH_LIKE)
    if "://" not in source:
        source = str(Path(source).expanduser().absolute())
    open_source(source)
    data.name_source(source)


def new_store(place: str) -> str:
    """Path or URL of a store that is to be made; CallError where something is there already."""
    place = place.strip().strip('"')
    if "://" in place:
        return place
    path = Path(place).expanduser().absolute()
    require(path.suffix in STORE_SUFFIXES, "new store", place, "a file such as trial.sqlite")
    require(not path.exists(), "new store", place, "a new file; nothing is overwritten")
    require(path.parent.is_dir(), "new store", place, "a folder that is there")
    return str(path)


def make(trial: Trial, place: str, by: str) -> Intake:
    """Make a trial's store and open it; what is wrong is in the findings, and nothing is made then.

    AgingError for a place that is taken, or a trial that cannot be.
    """
    require(bool(by.strip()), "your name", by, "a name for the record")
    store, made = new_store(place), new_trial(trial)
    if made.blocked:
        return made
    with open_ledger(store, create=True) as book:
        if book.revision:
            raise LedgerError(f"store {book.label}: holds facts already; name an empty database")
        book.append(made.exposure, by=by, source=f"new trial, racks by lot of seed {trial.seed}")
    data.name_source(store)
    return made


def can_be_written(source: str | None) -> bool:
    """Whether a source is a store that readings can be added to."""
    if source is None or not is_store(source):
        return False
    try:
        with open_ledger(source) as book:
            return book.revision >= 0
    except AgingError:
        return False
