"""claim, withdraw, watch and words, from the command line."""

from __future__ import annotations

import json
import re
import shutil
import subprocess

import pytest

from aging.cli import app


@pytest.fixture
def store(folder, tmp_path, capsys):
    path = str(tmp_path / "racks.sqlite")
    assert app(["load", str(folder), "--store", path]) == 0
    capsys.readouterr()
    return path


def claim(store, *options):
    return app(["claim", store, "silica", "--no-backtest", *options])


def test_a_claim_from_proposal_to_its_end(store, capsys):
    assert claim(store, "--json", "-") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["proposal"]["basis"] == "internal"
    assert told["sentences"][0].startswith("For internal use: silica, projected 36-month")
    assert claim(store, "--as", "projected", "--share", "0.95", "--make") == 2
    shown, error = capsys.readouterr()
    assert "sites: 1 site" in error
    for part in ("NOT sites", "met panels", "3 panels cannot support"):
        assert part in " ".join(shown.split())
    assert claim(store, "--make", "--by", "Zoë", "--months", "16") == 0
    shown = capsys.readouterr().out
    assert "No gate is needed for internal; of " in shown
    assert "As projected not yet: sites (expose it at 2 more sites" in shown
    assert "Caution: A projection is not a rating" in shown
    made = shown.rsplit("claim ", 1)[1].split()[0]
    code = app(["watch", store, "--json", "-"])
    (seen,) = json.loads(capsys.readouterr().out)["claims"]
    assert (seen["claim"]["claim"], seen["claim"]["made_by"]) == (made, "Zoë")
    assert code == {"holds": 0, "at risk": 1, "broken": 4}[seen["state"]]
    assert app(["watch", store, "--at-risk", "0.0001"]) == max(code, 1)
    lines = [one for one in capsys.readouterr().out.splitlines() if one.startswith(f"{made} ")]
    assert re.fullmatch(  # whole, in one line, however narrow an e-mail is
        rf"{made} (at risk|broken): silica, solar reflectance at least 0\.\d\d at 16 months, yard; "
        r"(fails with probability|measured around month 16:) 0\.\d+.*\.", lines[0],
    )  # fmt: skip
    assert app(["withdraw", store, made, "--reason", "no longer sold"]) == 0
    assert app(["watch", store]) == 0
    assert "No claim stands" in capsys.readouterr().out


def test_the_report_of_a_visit_tells_how_each_claim_stands(store, tmp_path, capsys):
    page, paper = tmp_path / "visit.html", tmp_path / "visit.pdf"
    call = ["report", store, "--site", "yard", "--on", "2025-06-02", "--out"]
    assert app([*call, str(page)]) == 0
    assert "Standing claims" not in page.read_text(encoding="utf-8")
    assert claim(store, "--make", "--months", "24") == 0
    made = capsys.readouterr().out.rsplit("claim ", 1)[1].split()[0]
    assert app([*call, str(page)]) == 0
    assert app([*call, str(paper)]) == 0
    told = (
        rf"{made} holds: silica, solar reflectance at least 0\.\d\d at 24 months, yard; fails with"
    )
    assert re.search(told, page.read_text(encoding="utf-8"))
    if shutil.which("pdftotext"):
        done = subprocess.run(["pdftotext", paper, "-"], check=True, capture_output=True, text=True)
        assert re.search(told, " ".join(done.stdout.replace("\u200b", "").split()))


def test_a_criterion_is_claimed_by_its_number(store, capsys):
    assert claim(store, "--json", "-") == 0
    rows = json.loads(capsys.readouterr().out)["criteria"]
    met = next(n for n, row in enumerate(rows, 1) if row["verdict"] == "met")
    assert claim(store, "--make", "--criterion", str(met)) == 0
    capsys.readouterr()
    assert app(["watch", store, "--json", "-"]) == 0
    (seen,) = json.loads(capsys.readouterr().out)["claims"]
    assert seen["claim"]["value"] is None
    assert rows[met - 1]["programme"] in seen["claim"]["criterion"]
    assert claim(store, "--make", "--criterion", "99") == 2


def test_wrong_calls_end_in_one_line(store, folder, capsys):
    for call, said in (
        (["claim", str(folder), "silica", "--make"], "load the folder"),
        (["claim", store, "gold", "--no-backtest"], "'gold'"),
        (["claim", store, "silica", "--as", "rated", "--value", "0.7"], "--rating"),
        (["claim", store, "silica", "--no-backtest", "--make", "--wording", "stays white"],
         "stays white"),
        (["watch", str(folder)], "STORE"), (["watch", store, "--at-risk", "0.7"], "at_risk"),
        (["withdraw", store, "nope", "--reason", "x"], "nope"),
    ):  # fmt: skip
        assert app(call) == 2, call
        error = capsys.readouterr().err
        assert said in error
        assert error.count("\n") == 1


def test_words_are_marked_where_they_stand(tmp_path, capsys):
    assert app(["words", "Our roof\nis self-cleaning."]) == 1
    assert "line 2, character 4: self-cleaning" in capsys.readouterr().out
    (tmp_path / "leaflet.txt").write_text("It stays white.", encoding="utf-8")
    assert app(["words", str(tmp_path / "leaflet.txt"), "--json", "-"]) == 1
    (hit,) = json.loads(capsys.readouterr().out)["hits"]
    assert (hit["start"], hit["end"], hit["found"]) == (3, 14, "stays white")
    assert app(["words", "Measured 0.66 after 36 months."]) == 0
    assert app(["words"]) == 0
    assert "self clean*" in capsys.readouterr().out
