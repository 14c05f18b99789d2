"""What can be wrong with a run, found from its readings. One module a kind of question; `detect` asks them in order."""
