"""The supply of a season: stated lines, packs and leads, what recordings teach of them, and what another would give."""
