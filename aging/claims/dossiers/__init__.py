"""A claim's dossier: all it rests on, as the store held it then, on paper and as files.

>>> from aging.claims import dossier, dossier_pdf
>>> dossier_pdf(dossier("exposure.sqlite", "3f2a91bc"))  # doctest: +SKIP

It is made from the revision that the claim names and nothing later, so that the same claim gives
the same bytes for good; a store that was altered gives none.
"""

from __future__ import annotations

from aging.claims.dossiers.made import Dossier, dossier
from aging.claims.dossiers.pack import evidence_pack
from aging.claims.dossiers.pages import as_html, as_pdf

__all__ = ["Dossier", "as_html", "as_pdf", "dossier", "evidence_pack"]
