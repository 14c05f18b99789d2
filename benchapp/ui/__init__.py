"""The window. It shows what the engine publishes and sends orders; no arithmetic on readings, no SQL."""
