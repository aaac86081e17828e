"""A plot on paper: the shapes of `plots.layout` as a flowable of reportlab."""

from __future__ import annotations

from reportlab.lib.colors import HexColor
from reportlab.platypus import Flowable

from wearvision.pages.pdf_page import BOLD, REGULAR
from wearvision.pages.plots import HEIGHT, INKS, SIZE, WIDTH, Dot, Plot, Shape, Stroke, layout

SHRINK = 0.86
"""The letters of the PDF run wider than those of a screen."""


class PlotDrawing(Flowable):  # type: ignore[misc]  # reportlab carries no types
    """A plot scaled to a width in points."""

    def __init__(self, plot: Plot, width: float) -> None:
        super().__init__()
        self.plot, self.scale = plot, width / WIDTH
        self.width, self.height = width, HEIGHT * self.scale
        self.hAlign = "LEFT"

    def draw(self) -> None:
        """Every shape, y turned to point up."""
        self.canv.scale(self.scale, self.scale)
        for shape in layout(self.plot):
            self._draw(shape)

    def _draw(self, shape: Shape) -> None:
        canvas, colour = self.canv, HexColor(INKS[shape.ink])
        if isinstance(shape, Stroke):
            canvas.setStrokeColor(colour)
            canvas.setLineWidth(shape.width)
            canvas.setDash(list(shape.dash))
            canvas.line(shape.x1, HEIGHT - shape.y1, shape.x2, HEIGHT - shape.y2)
        elif isinstance(shape, Dot):
            canvas.setDash([])
            canvas.setStrokeColor(colour)
            canvas.setFillColor(HexColor("#ffffff") if shape.hollow else colour)
            canvas.setLineWidth(1.6)
            canvas.circle(shape.x, HEIGHT - shape.y, shape.r, fill=1)
        else:
            canvas.setFillColor(colour)
            canvas.setFont(BOLD if shape.bold else REGULAR, SIZE * SHRINK)
            text = shape.text.replace("\u2009", " ")
            place = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
            place[shape.anchor](shape.x, HEIGHT - shape.y, text)
