"""The screens: navigation and wording only, no science and no SQL."""
