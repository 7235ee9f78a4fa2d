"""One PostgreSQL store, several at the racks: each sees the others, a lost link loses no form."""

from __future__ import annotations

import pytest
from rack_example import fill, stored
from sqlalchemy import NullPool, create_engine, make_url, text
from streamlit.testing.v1 import AppTest

from aging import intake
from aging.errors import LedgerError
from aging.ledger import append, open_ledger
from dashboard import data, entry, log
from dashboard import log_words as wording
from dashboard.launch import APP, SOURCE

KILL = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :name"


@pytest.fixture
def store(postgres_url, tmp_path, monkeypatch):
    fill(tmp_path)
    with open_ledger(postgres_url, create=True) as book:
        book.append(intake.read(tmp_path).exposure, by="desk", source="test")
    monkeypatch.setenv(SOURCE, postgres_url)
    monkeypatch.setenv("AGING_PHOTOS", str(tmp_path))
    monkeypatch.setattr(entry, "cookies", dict)
    for cache in (entry.is_open, log.known, log.sheet):
        cache.clear()
    return postgres_url


@pytest.fixture
def admin(store):
    """Call to say something to the server from the database beside the store."""
    url = make_url(store)
    engine = create_engine(
        url.set(database="postgres"), poolclass=NullPool, isolation_level="AUTOCOMMIT"
    )

    def say(statement):
        with engine.connect() as conn:
            conn.execute(text(statement.format(url.database)), {"name": url.database})

    return say


def page():
    app = AppTest.from_file(str(APP), default_timeout=120)
    app.run()
    return checked(app.switch_page("views/log.py"))


def checked(app):
    app.run()
    assert not app.exception
    return app


def of(widgets, label):
    return next(one for one in widgets if one.label == label)


def texts(app):
    return "\n".join(str(one.value) for one in app.text)


def settle(app, operator):
    of(app.selectbox, wording.OPERATOR).set_value(operator)
    checked(app)
    of(app.button_group, wording.STATE).set_value("as_exposed")
    of(app.button_group, wording.WETNESS).set_value("dry")
    of(app.selectbox, wording.INSTRUMENT + "Solar reflectance").set_value("SR-1, G173")
    return checked(app)


def write(app, value):
    of(app.text_input, "Solar reflectance").set_value(value)
    return checked(app)


def save(app):
    of(app.button, wording.SAVE).click()
    return checked(app)


def test_two_at_one_store_see_each_others_readings_at_once(store):
    first, second = settle(page(), "anna"), settle(page(), "bert")
    mark = data.mark_of(store)
    save(write(first, "0.71"))
    assert "1 read" in texts(checked(second))
    of(second.selectbox, "Panel").set_value("P2")
    save(write(checked(second), "0.70"))
    assert "2 read" in texts(checked(first))
    assert sorted(stored(store)["operator"]) == ["anna", "bert"]
    assert data.mark_of(store) != mark  # so every cached page reads anew
    with open_ledger(store) as one, open_ledger(store) as other:
        assert one.revision == other.revision


def test_a_lost_server_takes_no_form_along(store, admin):
    app = write(settle(page(), "anna"), "0.71 0.70 0.72")
    admin('ALTER DATABASE "{}" ALLOW_CONNECTIONS false')
    admin(KILL)
    try:
        entry.is_open.clear()
        log.known.clear()
        save(app)
        assert wording.REFUSED in texts(app)
        assert wording.LOST in [one.value for one in app.warning]
        assert of(app.text_input, "Solar reflectance").value == "0.71 0.70 0.72"
        assert "accepting connections" in texts(write(app, "0.71 0.70 0.73"))
    finally:
        admin('ALTER DATABASE "{}" ALLOW_CONNECTIONS true')
    save(app)
    assert not app.warning
    assert stored(store)["spot_values"].tolist() == ["0.71 0.7 0.73"]
    assert of(app.text_input, "Solar reflectance").value == ""


def test_a_connection_cut_while_saving_stores_nothing_and_keeps_the_form(store, admin, monkeypatch):
    app = write(settle(page(), "anna"), "0.71")
    kept = append._store  # noqa: SLF001

    def cut(*given):
        admin(KILL)
        return kept(*given)

    with monkeypatch.context() as patch:
        patch.setattr(append, "_store", cut)
        save(app)
    assert "the server ended the connection" in texts(app)
    assert of(app.text_input, "Solar reflectance").value == "0.71"
    assert stored(store).empty
    save(app)
    assert stored(store)["value"].tolist() == [0.71]


def test_a_page_opened_while_the_server_is_lost_says_so(store, admin):
    admin('ALTER DATABASE "{}" ALLOW_CONNECTIONS false')
    admin(KILL)
    with pytest.raises(LedgerError):
        data.mark_of(store)
    app = AppTest.from_file(str(APP), default_timeout=120).run()
    assert not app.exception
    assert "accepting connections" in texts(app)
    admin('ALTER DATABASE "{}" ALLOW_CONNECTIONS true')
