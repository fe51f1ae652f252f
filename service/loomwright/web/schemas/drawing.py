"""Answer of the operations that draw."""

from marshmallow import Schema, fields

from loomwright.drawings.drawing import Drawing


class DrawingAnswer(Schema):
    """A drawing with the words that stand for it."""

    name = fields.String(required=True, metadata={"description": "Kind of drawing."})
    title = fields.String(required=True, metadata={"description": "What it shows, in one line."})
    description = fields.String(
        required=True,
        metadata={"description": "What a person who does not see it has to know."},
    )
    width_px = fields.Integer(required=True, metadata={"description": "Width of the view box."})
    height_px = fields.Integer(required=True, metadata={"description": "Height of the view box."})
    svg = fields.String(required=True, metadata={"description": "The drawing as SVG."})


def drawing_document(drawing: Drawing) -> dict[str, object]:
    """Return a drawing as plain JSON values, as ``DrawingAnswer`` describes them."""
    return {
        "name": drawing.name,
        "title": drawing.title,
        "description": drawing.description,
        "width_px": drawing.width,
        "height_px": drawing.height,
        "svg": drawing.svg,
    }
