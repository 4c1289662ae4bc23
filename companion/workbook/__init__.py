"""Exercises made from a tune, with keys, as booklets; sheets of the course."""

from companion.language import ExerciseKind
from companion.workbook.booklet import Booklet, booklet_of, booklet_sheet, save_booklet, spoken_sheet
from companion.workbook.course_sheets import SheetOf, WantedSheet, sheet_of
from companion.workbook.exercises import Demand, Exercise, Item, exercises
from companion.workbook.guide_sheets import GuideMark, GuidePart, guide_html, guide_lines, guide_sheet
from companion.workbook.sheets import drill_sheet, key_sheet, stage_drill_sheet, stage_facts, stage_sheet, tune_sheet, week_sheet

__all__ = [
    "Booklet",
    "Demand",
    "Exercise",
    "ExerciseKind",
    "GuideMark",
    "GuidePart",
    "Item",
    "SheetOf",
    "WantedSheet",
    "booklet_of",
    "booklet_sheet",
    "drill_sheet",
    "exercises",
    "guide_html",
    "guide_lines",
    "guide_sheet",
    "key_sheet",
    "save_booklet",
    "sheet_of",
    "spoken_sheet",
    "stage_drill_sheet",
    "stage_facts",
    "stage_sheet",
    "tune_sheet",
    "week_sheet",
]
