"""What is put on paper or shown as a picture: the set-up sheet, plan and side view, waveforms, plots."""
