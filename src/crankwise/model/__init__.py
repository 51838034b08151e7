"""What passes from step to step: frozen dataclasses and nothing that acts."""
