"""The drawings of the plant page: depth over the bed, tubes, state glyphs. Pure functions, values in, SVG text out.

Colours come from classes in app.css, never from here; every drawing has its words beside it, so that nothing rests on
colour and nothing has to be measured.
"""

from api.pages.drawing.air_line import air_chart
from api.pages.drawing.bed import minimum_chart
from api.pages.drawing.days import day_patterns, day_swatch, days_strip
from api.pages.drawing.field import LeadLabel, Plumb, place_flags
from api.pages.drawing.glyphs import glyph, patterns
from api.pages.drawing.margin import margin_chart, scale_of
from api.pages.drawing.open_hours import open_hours_chart
from api.pages.drawing.season import day_minima, season_chart, season_strip
from api.pages.drawing.tubes import TUBE_BOTTOM, TUBE_TOP, TubeFigure, tube_y, tubes
from api.pages.drawing.weeks import weeks_strip

__all__ = [
    "TUBE_BOTTOM",
    "TUBE_TOP",
    "LeadLabel",
    "Plumb",
    "TubeFigure",
    "air_chart",
    "day_minima",
    "day_patterns",
    "day_swatch",
    "days_strip",
    "glyph",
    "margin_chart",
    "minimum_chart",
    "open_hours_chart",
    "patterns",
    "place_flags",
    "scale_of",
    "season_chart",
    "season_strip",
    "tube_y",
    "tubes",
    "weeks_strip",
]
