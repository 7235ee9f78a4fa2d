from __future__ import annotations

from ledger_example import claim, example, frame, only

from aging import intake
from aging.ledger import export, open_ledger
from aging.records import SHEETS


def test_what_was_claimed_is_never_edited(ledger_url):
    with open_ledger(ledger_url, create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        other = frame("claims", claim("c1", value=0.75), claim("c3"))
        end = example().claim_ends.assign(reason="second thoughts")
        receipts = ledger.append(only(claims=other, claim_ends=end), by="Ada", source="again")
        claims, ends = receipts[list(SHEETS).index("claims")], receipts[-1]
        assert (claims.stored, claims.refused, ends.stored, ends.refused) == (1, 1, 0, 1)
        assert claims.findings[0].seen == "c1: value 0.75"
        assert "withdraw the claim" in claims.findings[0].action
        assert ledger.read().claims["value"].tolist()[0] == 0.71
        assert ledger.verify().whole


def test_claims_leave_and_come_back_as_a_folder(ledger_url, tmp_path):
    with open_ledger(ledger_url, create=True) as ledger:
        ledger.append(example(), by="Ada", source="a folder")
        stored = ledger.read()
        export(ledger, tmp_path / "out")
    back = intake.read(tmp_path / "out").exposure
    for sheet in ("claims", "claim_ends"):
        assert getattr(back, sheet)["claim"].tolist() == getattr(stored, sheet)["claim"].tolist()
    assert back.claims["value"].tolist()[0] == 0.71
    assert back.claims["made_at"].tolist() == stored.claims["made_at"].tolist()
    assert back.claim_ends["ended_by"].tolist() == ["Zoë"]
