"""Weather at the exposure sites: what dries, wets, soils and irradiates the panels."""
