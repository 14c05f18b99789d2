"""The Specimen stage: what lies on the bench, what it must be, how it is measured."""
