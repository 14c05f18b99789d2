"""The Check stage: leads and contacts looked at with little current, before a run."""
