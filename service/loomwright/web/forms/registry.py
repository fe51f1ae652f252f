"""Which forms each operation has. A form is added to an operation here and nowhere else."""

from types import MappingProxyType

from marshmallow import Schema

from loomwright.web.forms.batch_forms import BATCH_FORMS, NDJSON
from loomwright.web.forms.bill_forms import BILL_FORMS
from loomwright.web.forms.document_forms import PLAN_FORMS
from loomwright.web.forms.drawing_forms import DRAWING_FORMS, SVG
from loomwright.web.forms.form import OperationForms
from loomwright.web.forms.shared_forms import JSON, calculator_forms
from loomwright.web.schemas.batch import PricePackagesAnswer
from loomwright.web.schemas.bill import BuildBillOfMaterialsAnswer
from loomwright.web.schemas.book_check import CheckPriceBookAnswer
from loomwright.web.schemas.conductor import SizeConductorAnswer
from loomwright.web.schemas.drawing import DrawingAnswer
from loomwright.web.schemas.fuse_answer import SizeFuseAnswer
from loomwright.web.schemas.load import MatchLoadImpedanceAnswer
from loomwright.web.schemas.measurement import CheckMeasurementsAnswer
from loomwright.web.schemas.mounted import PriceBooksAnswer
from loomwright.web.schemas.network import SolveNetworkAnswer
from loomwright.web.schemas.output import EstimateRealOutputAnswer
from loomwright.web.schemas.plan import PlanInstallationAnswer
from loomwright.web.schemas.signal import PlanSignalPathAnswer
from loomwright.web.schemas.supply import AssessSupplyAnswer
from loomwright.web.schemas.work_order import BuildWorkOrderAnswer


def _calculator(operation: str, answer: type[Schema], default_field: str) -> OperationForms:
    return OperationForms(operation, answer, calculator_forms(answer), default_field)


def _drawing(operation: str) -> OperationForms:
    return OperationForms(operation, DrawingAnswer, DRAWING_FORMS, usual=SVG.name)


FORMS_BY_OPERATION = MappingProxyType(
    {
        entry.operation: entry
        for entry in (
            _calculator("size-conductor", SizeConductorAnswer, "conductor.size"),
            _calculator("size-fuse", SizeFuseAnswer, "rated_current_a"),
            _calculator("estimate-real-output", EstimateRealOutputAnswer, "likely.power_w"),
            _calculator("match-load-impedance", MatchLoadImpedanceAnswer, "recommended.notation"),
            OperationForms("assess-supply", AssessSupplyAnswer, (JSON,)),
            OperationForms("build-bill-of-materials", BuildBillOfMaterialsAnswer, BILL_FORMS),
            OperationForms("plan-installation", PlanInstallationAnswer, PLAN_FORMS),
            OperationForms("draw-installation", DrawingAnswer, DRAWING_FORMS, usual=SVG.name),
            OperationForms("solve-network", SolveNetworkAnswer, (JSON,)),
            OperationForms("check-measurements", CheckMeasurementsAnswer, (JSON,)),
            OperationForms("build-work-order", BuildWorkOrderAnswer, (JSON,)),
            OperationForms("check-price-book", CheckPriceBookAnswer, (JSON,)),
            OperationForms("plan-signal-path", PlanSignalPathAnswer, (JSON,)),
            OperationForms("price-books", PriceBooksAnswer, (JSON,)),
            OperationForms("price-packages", PricePackagesAnswer, BATCH_FORMS, usual=NDJSON.name),
            _drawing("draw-time-current"),
            _drawing("draw-drop-against-length"),
            _drawing("draw-output-against-claim"),
            _drawing("draw-voltage-path"),
        )
    }
)
