"""The physics of the bench: pure arithmetic on a seeded generator, without instruments."""
