"""The words of the trade."""

from __future__ import annotations

import pytest

from aging.vocabulary import additive_words


@pytest.mark.parametrize(
    ("column", "words"),
    [
        ("silica_wt_pct", ("silica", "% by mass")),
        ("hollow_sphere_vol_pct", ("hollow sphere", "% by volume")),
        ("tio2_g_per_l", ("tio2", "g/l")),
        ("biocide_ppm", ("biocide", "ppm")),
        ("binder", ("binder", "")),
    ],
)
def test_a_composition_column_is_told_by_name_and_unit(column, words):
    assert additive_words(column) == words
