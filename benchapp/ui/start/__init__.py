"""The beginning of a day: bench and recipe as they were left, asked anew, nothing switched on."""
