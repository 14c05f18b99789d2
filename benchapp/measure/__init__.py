"""The run itself: reversing, reading, stopping, and getting the output off. No Qt, no SQL."""
