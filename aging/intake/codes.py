"""What each finding code means, in one table that messages, documents and tests read."""

from __future__ import annotations

from types import MappingProxyType

OF_WAVELENGTHS: MappingProxyType[str, str] = MappingProxyType(
    {
        "duplicate-wavelength": "a wavelength stands twice",
        "unordered-wavelengths": "the wavelengths go up and down",
        "descending-wavelengths": "read from long to short; turned round",
        "coverage": "the wavelengths leave out a part of the sun",
        "gap": "two wavelengths that follow each other are far apart",
    }
)

CODES: MappingProxyType[str, str] = MappingProxyType(
    {
        # the file as a whole
        "empty-file": "the file or tab holds nothing, not even a header",
        "no-rows": "there is a header and no row under it",
        "unreadable-file": "the bytes are no text table",
        "unclosed-quote": "a quotation mark opens a cell and none closes it",
        "missing-column": "a column that the sheet must have is not in its header",
        "duplicate-column": "two columns of the header have the same name",
        # one cell
        "extra-cells": "the row has more cells than the header",
        "missing-value": "a cell that must be filled is empty",
        "bad-text": "control or direction-changing characters, or an identifier too long",
        "not-allowed": "a word that is not one of the column's words",
        "unknown-property": "the property is not in the table of properties",
        "not-a-number": "the cell is no plain number",
        "mixed-decimals": "decimal commas and decimal points stand in one column",
        "out-of-range": "the value cannot exist",
        "not-a-date": "the cell is no date of the calendar in the form YYYY-MM-DD",
        "ambiguous-date": "day and month cannot be told apart",
        "future-date": "the date has not come yet",
        # a reading against its property
        "bad-unit": "the unit is not one in which the property is known",
        "percent-for-fraction": "a fraction was typed as a percentage without saying so",
        "unusual": "possible, but outside what such a coating usually shows",
        "scale-step": "not a step of the rating scale",
        # a spectrum
        "uneven-lists": "a spectrum has more wavelengths than reflectances, or fewer",
        **OF_WAVELENGTHS,
        # a row against the other rows and sheets
        "uv-share": "the ultraviolet of a month is no plausible part of its sunlight",
        "unknown-panel": "no accepted row of the panels sheet has this panel",
        "unknown-site": "no panel stands at this site and the sites sheet does not name it",
        "unknown-formulation": "the formulations sheet does not name this formulation",
        "before-exposure": "read before the panel was exposed",
        "after-closure": "read after the panel was closed",
        "closed-before-exposed": "the panel closes before it was exposed",
        "duplicate": "the same row stands in the sheet already",
        "conflicting-duplicate": "another row with the same key says something else",
    }
)
