import os

# Windows are tested without a screen, also where there is one.
os.environ["QT_QPA_PLATFORM"] = "offscreen"
