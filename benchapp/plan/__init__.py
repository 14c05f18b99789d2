"""What a recipe will do before anything is switched on."""
