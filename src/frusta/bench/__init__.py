"""What happens at the bench: sound card, virtual rig, guided takes, verdicts."""
