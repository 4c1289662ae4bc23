"""The course: stages, drills both ways, when to come back to what, sheets.

stage: stages read from `stages/*.toml` and checked. facts: what can be known about cells. material: a tune as
far as it has been taught. drill: questions. answer: answers judged, typed and sung. recall: FSRS. progress:
what a pupil has shown, kept in the diary. session: one sitting. sheet, forms: paper and speech. door: what
the commands and the page ask for.
"""
