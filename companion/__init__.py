"""A singing-lesson companion: the direction of a pupil's pitch, paired with music braille."""
