"""A run that examines itself: a second current, long dwells and zero current, and one fit over all of it."""
