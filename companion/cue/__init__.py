"""What goes back to pupil and teacher: words, speech, glides, and the hand's way on the wall.

Nothing is imported here: the first word of a session is spoken before matches and tunes are loaded.
"""
