"""Sheets made by hand for tests of printers: a quote, a work order and fuse labels in a language.

All data is invented. The words are only as good as they have to be to look at a page.
"""

from types import MappingProxyType

from loomwright.documents.sheet import (
    BLANK,
    Cautions,
    Column,
    Facts,
    Figure,
    Label,
    Labels,
    Paragraph,
    Section,
    Sheet,
    Step,
    Steps,
    Table,
)
from loomwright.drawings.drawing import Drawing

_WORDS = MappingProxyType(
    {
        "en": MappingProxyType(
            {
                "quote": "Quotation",
                "work_order": "Work order",
                "labels": "Fuse labels",
                "subject": "Second battery, inverter and lighting for a camper van",
                "number": "Number",
                "date": "Date",
                "customer": "Customer",
                "vehicle": "Vehicle",
                "vehicle_words": "Panel van, 12 V, long wheelbase, first registered 2029",
                "page_of": "Page {page} of {pages}",
                "footer": "Calculated from the data stated. Prices hold until 30 April 2031.",
                "summary": "Summary",
                "paragraph": "Three designs were compared; this one meets every limit at the lowest"
                " price. Lengths are one way; the voltage drop is that of out and return wire.",
                "lines": "What is supplied and fitted",
                "pos": "No.",
                "description": "Description",
                "quantity": "Quantity",
                "unit": "Unit",
                "unit_price": "Unit price",
                "total": "Total",
                "part": "Battery cable {size} mm², tinned copper, for 105 °C, black",
                "metre": "m",
                "net": "Net total",
                "tax": "Value added tax 19 %",
                "gross": "Total EUR",
                "circuits": "Circuits",
                "circuit": "Circuit",
                "conductor": "Conductor",
                "drop": "Drop",
                "fuse": "Fuse",
                "cautions": "Cautions",
                "caution": "The alternator cannot make up for what the loads take while the engine"
                " idles; the battery is discharged by 14 A.",
                "caution_2": "Disconnect the negative pole of the starter battery before the first"
                " step and connect it after the last.",
                "drawing": "Single-line diagram",
                "steps": "Steps",
                "step": "Fit the main fuse holder within 180 mm of the positive pole, on the side"
                " wall of the battery compartment, and mark it.",
                "step_2": "Run the cable along the left sill, behind the trim, in corrugated tube,"
                " and clip it every 300 mm.",
                "where": "Where",
                "tool": "Tool",
                "torque": "Torque",
                "length": "Length",
                "compartment": "battery compartment, left-hand side",
                "crimp": "hexagonal crimping tool, die 35 mm²",
                "step_caution": "No sharp edge may touch the cable.",
                "measurements": "Measurements after the work",
                "expected": "Expected",
                "measured": "Measured",
                "by": "Initials",
                "point": "Voltage drop, main cable, full load",
                "signature": "Handed over in working order",
                "label_line": "Lighting, living area",
            }
        ),
        "de": MappingProxyType(
            {
                "quote": "Angebot",
                "work_order": "Arbeitsauftrag",
                "labels": "Sicherungsschilder",
                "subject": "Zweitbatterie, Wechselrichter und Beleuchtung für einen"
                " Campingkastenwagen",
                "number": "Angebotsnummer",
                "date": "Datum",
                "customer": "Auftraggeberin",
                "vehicle": "Fahrzeug",
                "vehicle_words": "Kastenwagen, 12 V, langer Radstand, Erstzulassung 2029",
                "page_of": "Seite {page} von {pages}",
                "footer": "Berechnet aus den angegebenen Daten. Preise gelten bis 30. April 2031.",
                "summary": "Zusammenfassung",
                "paragraph": "Drei Auslegungen wurden verglichen; diese hält jede Grenze zum"
                " niedrigsten Preis ein. Längen sind einfache Leitungslängen; der Spannungsfall ist"
                " der von Hin- und Rückleitung.",
                "lines": "Lieferung und Einbau",
                "pos": "Nr.",
                "description": "Bezeichnung",
                "quantity": "Menge",
                "unit": "Einheit",
                "unit_price": "Einzelpreis",
                "total": "Gesamtpreis",
                "part": "Batterieleitung {size} mm², verzinntes Kupfer, Leiterisolierung für"
                " Temperaturen bis 105 °C, schwarz",
                "metre": "m",
                "net": "Nettosumme",
                "tax": "Umsatzsteuer 19 %",
                "gross": "Gesamtbetrag EUR",
                "circuits": "Stromkreise",
                "circuit": "Stromkreis",
                "conductor": "Leiterquerschnitt",
                "drop": "Spannungsfall",
                "fuse": "Sicherung",
                "cautions": "Hinweise zur Sicherheit",
                "caution": "Der Generator deckt im Leerlauf nicht, was die Verbraucher aufnehmen;"
                " die Batterie wird mit 14 A entladen.",
                "caution_2": "Vor dem ersten Schritt den Minuspol der Starterbatterie abklemmen und"
                " erst nach dem letzten wieder anschließen.",
                "drawing": "Übersichtsschaltplan",
                "steps": "Arbeitsschritte",
                "step": "Hauptsicherungshalter höchstens 180 mm vom Pluspol entfernt an der"
                " Seitenwand des Batteriefachs befestigen und kennzeichnen.",
                "step_2": "Leitung entlang des linken Schwellers hinter der Verkleidung im"
                " Wellrohr verlegen und alle 300 mm befestigen.",
                "where": "Einbauort",
                "tool": "Werkzeug",
                "torque": "Anzugsdrehmoment",
                "length": "Länge",
                "compartment": "Batteriefach, linke Seite",
                "crimp": "Sechskantpresszange, Einsatz 35 mm²",
                "step_caution": "Keine scharfe Kante darf die Leitung berühren.",
                "measurements": "Messungen nach dem Einbau",
                "expected": "Erwartungswert",
                "measured": "Messwert",
                "by": "Kürzel",
                "point": "Spannungsfall der Hauptleitung bei Volllast",
                "signature": "Betriebsbereit übergeben",
                "label_line": "Beleuchtung Wohnraum",
            }
        ),
        "es": MappingProxyType(
            {
                "quote": "Presupuesto",
                "work_order": "Orden de trabajo",
                "labels": "Etiquetas de fusibles",
                "subject": "Segunda batería, inversor e iluminación para una furgoneta vivienda",
                "number": "Número",
                "date": "Fecha",
                "customer": "Cliente",
                "vehicle": "Vehículo",
                "vehicle_words": "Furgoneta, 12 V, batalla larga, matriculada en 2029",
                "page_of": "Página {page} de {pages}",
                "footer": "Calculado con los datos indicados. Precios válidos hasta el 30 de abril"
                " de 2031.",
                "summary": "Resumen",
                "paragraph": "Se compararon tres diseños; este cumple todos los límites al menor"
                " precio. Las longitudes son de ida; la caída de tensión es la de ida y vuelta.",
                "lines": "Suministro y montaje",
                "pos": "N.º",
                "description": "Descripción",
                "quantity": "Cantidad",
                "unit": "Unidad",
                "unit_price": "Precio unitario",
                "total": "Importe",
                "part": "Cable de batería {size} mm², cobre estañado, aislamiento para 105 °C,"
                " negro",
                "metre": "m",
                "net": "Total sin impuestos",
                "tax": "IVA 21 %",
                "gross": "Total EUR",
                "circuits": "Circuitos",
                "circuit": "Circuito",
                "conductor": "Conductor",
                "drop": "Caída",
                "fuse": "Fusible",
                "cautions": "Advertencias",
                "caution": "El alternador no cubre al ralentí lo que toman los consumidores; la"
                " batería se descarga con 14 A.",
                "caution_2": "Desconecte el polo negativo de la batería de arranque antes del"
                " primer paso y conéctelo después del último.",
                "drawing": "Esquema unifilar",
                "steps": "Pasos",
                "step": "Monte el portafusibles principal a menos de 180 mm del polo positivo, en"
                " la pared del compartimento de la batería, y márquelo.",
                "step_2": "Tienda el cable por el estribo izquierdo, tras el revestimiento, en tubo"
                " corrugado, con una brida cada 300 mm.",
                "where": "Lugar",
                "tool": "Herramienta",
                "torque": "Par de apriete",
                "length": "Longitud",
                "compartment": "compartimento de la batería, lado izquierdo",
                "crimp": "prensa hexagonal, matriz 35 mm²",
                "step_caution": "Ningún canto vivo debe tocar el cable.",
                "measurements": "Mediciones tras el montaje",
                "expected": "Esperado",
                "measured": "Medido",
                "by": "Iniciales",
                "point": "Caída de tensión del cable principal a plena carga",
                "signature": "Entregado en funcionamiento",
                "label_line": "Iluminación, zona de estar",
            }
        ),
    }
)
SIZES = ("1.5", "2.5", "4", "6", "10", "16", "25", "35", "50")
NUMBER = "OFFER-2031-0042"
LETTERS = "ABCDEF"


def drawing(name: str = "single_line") -> Drawing:
    """A made-up drawing with a title, a description and text."""
    boxes = "".join(
        f'<rect x="{20 + 110 * n}" y="40" width="90" height="50" fill="none" stroke="#000"'
        f' stroke-width="1.5"/><text x="{65 + 110 * n}" y="70" font-size="13" text-anchor="middle"'
        f' font-family="sans-serif">F{n + 1} 30 A</text>'
        f'<path d="M{110 + 110 * n} 65h20" stroke="#000" stroke-width="1.5"/>'
        for n in range(5)
    )
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 580 130" width="580" height="130">'
        f"<title>Fuses in a row</title><desc>Five fuses of 30 A.</desc>{boxes}</svg>"
    )
    return Drawing(name, "Fuses in a row", "Five fuses of 30 A in a row.", 580, 130, svg)


def quote(language: str = "en", lines: int = 70, paper: str = "a4") -> Sheet:
    """A quotation as long as that of the largest demo job."""
    words = _WORDS[language]
    rows = tuple(
        (
            str(n),
            words["part"].format(size=SIZES[n % len(SIZES)]),
            f"{1.25 * n:.2f}",
            words["metre"],
            f"{3.17 + n:.2f}",
            f"{1.25 * n * (3.17 + n):,.2f}",
        )
        for n in range(1, lines + 1)
    )
    table = Table(
        words["lines"],
        (
            Column(words["pos"], is_figure=True, share=0.6),
            Column(words["description"], share=5.0),
            Column(words["quantity"], is_figure=True),
            Column(words["unit"], share=0.8),
            Column(words["unit_price"], is_figure=True, share=1.2),
            Column(words["total"], is_figure=True, share=1.4),
        ),
        rows,
        (
            ("", words["net"], "", "", "", "28,406.10"),
            ("", words["tax"], "", "", "", "5,397.16"),
            ("", words["gross"], "", "", "", "33,803.26"),
        ),
    )
    return Sheet(
        language,
        paper,
        words["quote"],
        words["subject"],
        _head(language),
        (
            Section(words["summary"], (Paragraph(words["paragraph"]), _circuits(language))),
            Section(words["lines"], (table,)),
            Section(
                words["cautions"],
                (
                    Cautions(words["cautions"], (words["caution"], words["caution_2"])),
                    Figure(drawing(), words["drawing"]),
                ),
            ),
        ),
        words["page_of"],
        words["footer"],
    )


def work_order(language: str = "en", count: int = 18, paper: str = "a4") -> Sheet:
    """A work order as long as that of the largest demo job."""
    words = _WORDS[language]
    steps = tuple(
        Step(
            n,
            words["step"] if n % 2 else words["step_2"],
            (
                (words["where"], words["compartment"]),
                (words["tool"], words["crimp"]),
                (words["torque"], f"{4 + n % 9}.5 N·m"),
                (words["length"], f"{n}.25 m"),
            )
            if n % 2
            else ((words["length"], f"{n}.25 m"),),
            (
                (f"{n} \u00d7", words["part"].format(size=SIZES[n % len(SIZES)])),
                ("2 \u00d7", f"M8, {SIZES[n % len(SIZES)]} mm²"),
            )
            if n % 3 == 0
            else (),
            (words["point"], words["signature"]) if n % 4 == 0 else (),
            (words["step_caution"],) if n % 5 == 0 else (),
        )
        for n in range(1, count + 1)
    )
    measurements = Table(
        words["measurements"],
        (
            Column(words["description"], share=3.0),
            Column(words["expected"], is_figure=True),
            Column(words["measured"], is_figure=True),
            Column(words["by"]),
        ),
        tuple((words["point"], f"{0.1 * n:.2f} V", BLANK, BLANK) for n in range(1, 9)),
    )
    return Sheet(
        language,
        paper,
        words["work_order"],
        words["subject"],
        _head(language),
        (
            Section(
                words["summary"],
                (
                    Cautions(words["cautions"], (words["caution_2"], words["caution"])),
                    Figure(drawing(), words["drawing"]),
                ),
            ),
            Section(words["steps"], (Steps(steps),), starts_page=True),
            Section(
                words["measurements"],
                (
                    measurements,
                    Facts(((words["date"], BLANK), (words["signature"], BLANK))),
                ),
            ),
        ),
        words["page_of"],
        words["footer"],
    )


def labels(
    language: str = "en", count: int = 14, paper: str = "a4", size: tuple[float, float] = (50, 20)
) -> Sheet:
    """Labels of fuses."""
    words = _WORDS[language]
    return Sheet(
        language,
        paper,
        words["labels"],
        words["subject"],
        Facts(((words["number"], NUMBER),)),
        (
            Section(
                "",
                (
                    Labels(
                        tuple(
                            Label(
                                f"F{n}  {5 * n} A",
                                (
                                    words["label_line"],
                                    f"{SIZES[n % len(SIZES)]} mm², {n}.50 m",
                                ),
                            )
                            for n in range(1, count + 1)
                        ),
                        *size,
                    ),
                ),
            ),
        ),
        words["page_of"],
        words["footer"],
    )


def small(*blocks: object, **members: object) -> Sheet:
    """A sheet of one section with these blocks."""
    given = {
        "language": "en",
        "paper": "a4",
        "title": "Sheet",
        "subtitle": "",
        "facts": Facts(()),
        "sections": (Section("Section", blocks),),  # type: ignore[arg-type]
        "page_of": "Page {page} of {pages}",
        "footer": "",
    }
    return Sheet(**{**given, **members})  # type: ignore[arg-type]


def _head(language: str) -> Facts:
    words = _WORDS[language]
    return Facts(
        (
            (words["number"], NUMBER),
            (words["date"], "2031-03-31"),
            (words["customer"], "Example Joinery, 4 Sample Street, Sampletown"),
            (words["vehicle"], words["vehicle_words"]),
        )
    )


def _circuits(language: str) -> Table:
    words = _WORDS[language]
    return Table(
        words["circuits"],
        (
            Column(words["circuit"], share=2.0),
            Column(words["conductor"], is_figure=True),
            Column(words["length"], is_figure=True),
            Column(words["drop"], is_figure=True),
            Column(words["fuse"], is_figure=True),
        ),
        tuple(
            (
                f"{words['circuit']} {LETTERS[n]}: living_area_lighting_{n}",
                f"{SIZES[n]} mm²",
                f"{n + 1}.50 m",
                f"{0.11 * (n + 1):.2f} V",
                f"{5 * (n + 1)} A",
            )
            for n in range(6)
        ),
    )
