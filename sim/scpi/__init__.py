"""A strict SCPI parser and the core that every simulated instrument shares."""
