"""The list of operations: what the service offers and the OpenAPI document describes."""

from loomwright.jobs.signal_members import PLAN_REQUEST
from loomwright.web.openapi import Operation
from loomwright.web.openapi_bodies import DocumentSchema
from loomwright.web.schemas.batch import (
    BATCH,
    GREATEST_BATCH_BYTES,
    PricePackagesAnswer,
    batch_components,
    batch_examples,
)
from loomwright.web.schemas.batch_bodies import BATCH_BODIES
from loomwright.web.schemas.bill import BuildBillOfMaterialsAnswer
from loomwright.web.schemas.bill_request import REQUEST, request_components, request_examples
from loomwright.web.schemas.book_check import (
    CHECK,
    CheckPriceBookAnswer,
    check_components,
    check_examples,
)
from loomwright.web.schemas.conductor import SizeConductorAnswer, SizeConductorRequest
from loomwright.web.schemas.drawing import DrawingAnswer
from loomwright.web.schemas.drawn_plan import (
    INSTALLATION_DRAWING,
    installation_drawing_components,
    installation_drawing_examples,
)
from loomwright.web.schemas.fuse import SizeFuseRequest
from loomwright.web.schemas.fuse_answer import SizeFuseAnswer
from loomwright.web.schemas.load import MatchLoadImpedanceAnswer, MatchLoadImpedanceRequest
from loomwright.web.schemas.measurement import (
    MEASUREMENTS,
    CheckMeasurementsAnswer,
    measurement_components,
    measurement_examples,
)
from loomwright.web.schemas.mounted import PriceBooksAnswer
from loomwright.web.schemas.network import (
    NETWORK_REQUEST,
    SolveNetworkAnswer,
    network_components,
    network_examples,
)
from loomwright.web.schemas.output import EstimateRealOutputAnswer, EstimateRealOutputRequest
from loomwright.web.schemas.plan import PlanInstallationAnswer
from loomwright.web.schemas.plan_request import (
    INSTALLATION_REQUEST,
    plan_request_components,
    plan_request_examples,
)
from loomwright.web.schemas.signal import PlanSignalPathAnswer, plan_components
from loomwright.web.schemas.signal_examples import signal_examples
from loomwright.web.schemas.supply import (
    SUPPLY_REQUEST,
    AssessSupplyAnswer,
    supply_components,
    supply_examples,
)
from loomwright.web.schemas.voltage_path import (
    VOLTAGE_PATH,
    voltage_path_components,
    voltage_path_examples,
)
from loomwright.web.schemas.work_order import BuildWorkOrderAnswer, order_examples
from loomwright.web.service_operations import SERVICE_OPERATIONS

_OF_DRAWINGS = (
    "It comes as SVG where the caller has no wish, 376 px wide, black on white, with title and "
    "description inside; `explain` and `sensitivity` change nothing. The same request and version "
    "give the same bytes."
)

OPERATIONS = (
    Operation(
        "size-conductor",
        "Choose the smallest conductor that meets every criterion, or check a given one.",
        "engineering",
        SizeConductorRequest,
        SizeConductorAnswer,
        with_query=True,
        description=(
            "Every size of the series is judged by voltage drop, ampacity and, where a fault "
            "current is given, by the heat of a short circuit; the first that meets all is "
            "chosen. Every candidate stands in the answer with the criterion that refused it. "
            "With `given_size` that size is judged. `explain` adds the working with formulas and "
            "sources, `sensitivity` what the tolerance of each input does to drop, temperature and "
            "choice."
        ),
    ),
    Operation(
        "size-fuse",
        "Choose the fuse of a circuit in every wanted type, or check a given one.",
        "engineering",
        SizeFuseRequest,
        SizeFuseAnswer,
        with_query=True,
        description=(
            "The permitted ratings lie between what the load needs and what the conductor bears; "
            "in each wanted type the least standard rating within them is chosen and judged by "
            "breaking capacity, rated voltage, opening time at the far end, coordination with the "
            "conductor and selectivity. `explain` adds the working, `sensitivity` what the "
            "tolerance of each input does to window, faults and choice."
        ),
    ),
    Operation(
        "estimate-real-output",
        "Estimate what an amplifier can really put out, against its claim, and what it draws.",
        "engineering",
        EstimateRealOutputRequest,
        EstimateRealOutputAnswer,
        with_query=True,
        description=(
            "The output is bounded by what the fuses and the supply let in, by the efficiency of "
            "the amplifier's class and by its rails; the answer sets that beside the claim, and "
            "gives the current for sizing the feed. `explain` adds the working, `sensitivity` what "
            "the tolerance of each input does to output and verdict."
        ),
    ),
    Operation(
        "match-load-impedance",
        "Wire voice coils and drivers to an amplifier in all ways, and choose the way to take.",
        "engineering",
        MatchLoadImpedanceRequest,
        MatchLoadImpedanceAnswer,
        with_query=True,
        description=(
            "Every way to wire all coils in series and parallel stands for itself once, with its "
            "nominal impedance, the power of each driver, whether amplifier and drivers are within "
            "their limits, the reading of an ohm-meter, and what one open or shorted coil does. "
            "Of the ways within limits the one with equal power everywhere and the greatest "
            "output is recommended. `explain` adds the working."
        ),
    ),
    Operation(
        "plan-signal-path",
        "Plan how the signal gets to equipment and what switches it on.",
        "engineering",
        DocumentSchema(PLAN_REQUEST.name, plan_components, signal_examples),
        PlanSignalPathAnswer,
        description=(
            "Take-offs at speaker or line level, their sums, the level at each input against the "
            "range of its gain, the turn-on currents against what the circuit gives with the relay "
            "that takes over, and the noise that ground potentials put into each input, with the "
            "effect of each remedy. `changes` must not be done as stated, `devices` have to be "
            "fitted. A job takes the same object as its member `signal`. `explain` adds the "
            "working."
        ),
    ),
    Operation(
        "assess-supply",
        "Judge whether a vehicle can feed new equipment, and compute what would mend a shortfall.",
        "engineering",
        DocumentSchema(SUPPLY_REQUEST.name, supply_components, supply_examples),
        AssessSupplyAnswer,
        description=(
            "Charging headroom at idle and on the road, how long the battery bears the loads with "
            "the engine off, how long the parked vehicle still starts, and the voltage at each "
            "load with all peaks together. Each shortfall carries its remedies with the figure "
            "that closes the gap, and names the cheapest."
        ),
    ),
    Operation(
        "solve-network",
        "Solve a network of sources, conductors, grounds and loads, and say how near it collapses.",
        "engineering",
        DocumentSchema(NETWORK_REQUEST.name, network_components, network_examples),
        SolveNetworkAnswer,
        description=(
            "Any direct-current network: several sources, meshes, shared grounds, loads of "
            "constant power, constant current and resistance. Conductors are at the temperature "
            "that their current brings them to, and are held against their ampacity. A source may "
            "have a greatest current, and need not take current back. The answer has every "
            "voltage and current, the balance of powers, and the greatest factor by which all "
            "constant power together can be turned up; where no operating point exists, it says "
            "so with the greatest power that there is one for. `explain` adds the working."
        ),
    ),
    Operation(
        "check-measurements",
        "Hold a technician's readings against the network of a job, and rank likely causes.",
        "engineering",
        DocumentSchema(MEASUREMENTS.name, measurement_components, measurement_examples),
        CheckMeasurementsAnswer,
        description=(
            "Voltages at rest and in stated load states, drops over feed, fuse, lugs and return, "
            "currents, the drain after sleep and the gain-setting voltage are compared with what "
            "the network of the job lets expect, with the uncertainty of conductors, joints, "
            "source, load, temperature and meter. Drops are judged at the current that was "
            "measured, if it was. Causes are single faults simulated in the same network, each "
            "with its probability and size; where the readings leave several in question, the "
            "answer says so and names the reading that tells more. Without readings the answer "
            "says what to expect. The same request gives the same bytes."
        ),
    ),
    Operation(
        "build-bill-of-materials",
        "Size a job's circuits and price everything it needs, with the reason for each line.",
        "pricing",
        DocumentSchema(REQUEST.name, request_components, request_examples),
        BuildBillOfMaterialsAnswer,
        description=(
            "Circuits are sized as size-conductor and size-fuse do it; parts, labour, discounts "
            "and tax follow from the rules and the price book, each line with its reason. Without "
            "a price book the demo book of the service prices it. Cost and margin need a key. The "
            "same request, price book and version give the same bytes on any day. As HTML it is a "
            "quote for the customer, in the language and units of `document`."
        ),
    ),
    Operation(
        "plan-installation",
        "Plan a whole installation three ways: sized, solved as one network, and priced.",
        "pricing",
        DocumentSchema(INSTALLATION_REQUEST.name, plan_request_components, plan_request_examples),
        PlanInstallationAnswer,
        description=(
            "Circuits are sized until the network that they make up agrees with what they were "
            "sized for: leanest that is safe, as the job asks, and with headroom for later. Each "
            "plan is complete and priced; `changes` says what differs. The same request, price "
            "book and version give the same bytes on any day. As HTML or CSV the answer is the "
            "quote, work order or fuse labels of the one plan that `document` names."
        ),
    ),
    Operation(
        "draw-installation",
        "Draw a planned installation as a single-line diagram.",
        "engineering",
        DocumentSchema(
            INSTALLATION_DRAWING.name,
            installation_drawing_components,
            installation_drawing_examples,
        ),
        DrawingAnswer,
        description=(
            "The request is that of plan-installation, with the plan that is wanted. The diagram "
            "shows every source, fuse, conductor, distribution, load and return of that plan, with "
            "the voltages while everything draws; what cannot be built says so. It comes as SVG "
            "where the caller has no wish, 380 px wide and as high as the circuits need, black on "
            "white, with title and description inside. Prices change nothing. The same request "
            "and version give the same bytes."
        ),
    ),
    Operation(
        "build-work-order",
        "Put a job's work into a safe order, with parts, hours, tools and torques for each step.",
        "pricing",
        DocumentSchema(REQUEST.name, request_components, order_examples),
        BuildWorkOrderAnswer,
        description=(
            "The job is sized and priced as build-bill-of-materials does it. What each step needs "
            "before it follows from the job: every source is isolated first, each zone is opened "
            "and closed once, a panel is protected before a conductor passes it, fuses come last. "
            "Parts and hours are those of the bill, shared over the steps to the last digit. A "
            "torque is a published one where there is one, and gives way to that of the maker. The "
            "request is that of build-bill-of-materials; paperwork, `document` and `show_cost` "
            "change nothing."
        ),
    ),
    Operation(
        "price-packages",
        "Price packages for vehicles, every one for every one or as listed, row by row.",
        "pricing",
        DocumentSchema(BATCH.name, batch_components, batch_examples),
        PricePackagesAnswer,
        description=(
            "A package is a job without what the vehicle decides, and a vehicle states the rest: "
            "its power sources, the routes and whatever else it decides. Each row is the quote of "
            "a pair, the same as build-bill-of-materials gives for the job that both make "
            "together. Rows are sent as they are worked out, and what is wrong with one package, "
            "vehicle or pair is told in its own rows. At most 1,000 packages, 20,000 vehicles and "
            "1,000,000 pairs. NDJSON comes where the caller has no wish; JSON is the same as one "
            "object. Cost is in no row, and `show_cost` is no member here."
        ),
        bodies=BATCH_BODIES,
        greatest_body_bytes=GREATEST_BATCH_BYTES,
    ),
    Operation(
        "price-books",
        "List the price books that the operator mounted, without any price.",
        "pricing",
        None,
        PriceBooksAnswer,
        description=(
            "The names go into `price_book_name` of build-bill-of-materials and check-price-book."
        ),
    ),
    Operation(
        "check-price-book",
        "Find what is wrong with a price book, what it lacks for given jobs, and what looks odd.",
        "pricing",
        DocumentSchema(CHECK.name, check_components, check_examples),
        CheckPriceBookAnswer,
        description=(
            "Every fault is named by table, row and column, or by JSON pointer. With `jobs` the "
            "answer also says what the book lacks for them; with `as_of`, what is out of date on "
            "that day. Findings that tell of cost need a key where the book is a mounted one."
        ),
    ),
    Operation(
        "draw-time-current",
        "Draw the fuse's time-current band before the damage curve of its conductor.",
        "engineering",
        SizeFuseRequest,
        DrawingAnswer,
        with_query=True,
        description=(
            "The request is that of size-fuse, and so are the figures: least and greatest opening "
            "time over current on logarithmic axes, the time in which the conductor is damaged, "
            "what the load takes, the fault currents, and the band of the fuse before it. Where no "
            f"fuse fits, the nearest one is drawn with dashed edges. {_OF_DRAWINGS}"
        ),
    ),
    Operation(
        "draw-drop-against-length",
        "Draw the voltage drop over the length of a route, for a size and its neighbours.",
        "engineering",
        SizeConductorRequest,
        DrawingAnswer,
        with_query=True,
        description=(
            "The request is that of size-conductor. The chosen or given size and up to two thinner "
            "and two thicker ones are solved anew at each length, their conductors as warm as the "
            "current makes them; the drop that is allowed and the length of the route are marked. "
            f"Where no size serves, the thickest is drawn. {_OF_DRAWINGS}"
        ),
    ),
    Operation(
        "draw-output-against-claim",
        "Draw an amplifier's claim beside its input and the output that it can really have.",
        "engineering",
        EstimateRealOutputRequest,
        DrawingAnswer,
        with_query=True,
        description=(
            "The request is that of estimate-real-output. On one axis in watts, with the level in "
            "decibels above it: the claim, what the fuses let in, output from low to high, and the "
            f"power above which a claim is impossible; the verdict in words. {_OF_DRAWINGS}"
        ),
    ),
    Operation(
        "draw-voltage-path",
        "Draw the voltage from the source to a load of a planned installation and back.",
        "engineering",
        DocumentSchema(VOLTAGE_PATH.name, voltage_path_components, voltage_path_examples),
        DrawingAnswer,
        description=(
            "The request is that of plan-installation, with the plan and the circuit that are "
            "wanted. With everything on, what is lost inside the source, in each lug, fuse and "
            "conductor on the way to the load and on the way back; each drop in millivolts. Prices "
            "change nothing. It comes as SVG where the caller has no wish, 376 px wide, black on "
            "white, with title and description inside. The same request and version give the same "
            "bytes."
        ),
    ),
    *SERVICE_OPERATIONS,
)
