"""The rules that produce the lines of a bill, by the key that each need carries.

The figures in them are members of ``QuantityRules``, which a price book states.
"""

from types import MappingProxyType

REQUIREMENT_RULES = MappingProxyType(
    {
        # Parts.
        "equipment": "Each piece of equipment that is fitted and has a reference.",
        "fixing_set": "One for each piece of equipment that does not bring its own.",
        "power_conductor": (
            "Route length with conductor_slack_percent, and conductor_slack_per_end_m at both"
            " ends of each piece; a fuse holder parts the feed into two pieces."
        ),
        "return_conductor": "As the feed, in one piece.",
        "ground_lead": "Length of the ground lead with the same slack.",
        "fuse": "One for each circuit.",
        "fuse_holder": "One for each circuit that a source feeds.",
        "distribution_block": "One for each circuit that feeds others, with a way for each.",
        "conductor_end": "One terminal or splice for each end of each piece of conductor.",
        "heat_shrink": "heat_shrink_per_end_m over each ring terminal and crimped splice.",
        "heat_shrink_over_solder": "heat_shrink_per_solder_joint_m over each soldered splice.",
        "solder": "solder_g_per_mm2 times the cross-section for each soldered splice.",
        "cable_marker": "markers_per_end at both ends of each piece of conductor.",
        "terminal_boot": (
            "boots_per_stud over each positive ring terminal at a source or at equipment; fuse"
            " holders and blocks have covers."
        ),
        "fuse_label": "labels_per_fuse at each fuse holder.",
        "way_label": "labels_per_fuse at each way of a block, spare or not.",
        "ground_hardware": "One set for each ground lead.",
        "contact_paste": (
            "paste_per_contact_g on each ring terminal at a source and at a ground point."
        ),
        "grommet": "One for each panel that the route passes, by the diameter of the bundle.",
        "split_loom": (
            "Loomed length with loom_waste_percent; the loom leaves loom_room_percent around the"
            " bundle."
        ),
        "cloth_tape_run": (
            "Spiral over each length without loom: pi d l / (tape_width_m (100 % -"
            " tape_overlap_percent)), with tape_waste_percent."
        ),
        "cloth_tape_loom_end": (
            "The same spiral over tape_per_loom_end_m at both ends of each piece of loom; a panel"
            " ends a piece."
        ),
        "cable_tie": (
            "One at the start and one each tie_spacing_m, long enough to go around the loom."
        ),
        "lead_tie": "The same along each signal lead; a remote lead lies beside it.",
        "signal_lead": "One for each signal lead, the next length up.",
        "remote_lead": "Its length.",
        "remote_lead_ends": "One set for each remote lead.",
        "tap": "As many as the job states.",
        # Labour.
        "isolate_source": "Once for the job.",
        "test_and_hand_over": "Once for the job.",
        "wanted_labour": "As the job states.",
        "fit_equipment": "Once for each piece of equipment that is fitted.",
        "run_conductor": "By the length of the route, its loom and ties included.",
        "wrap_tape": "By the length that is wrapped in cloth tape instead of loom.",
        "pass_bulkhead": "Once for each grommet.",
        "fit_fuse_holder": "Once for each fuse holder, its label included.",
        "fit_distribution_block": "Once for each block.",
        "make_off_end": "Once for each crimped terminal and splice, its marker included.",
        "solder_joint": "Once for each soldered splice, its marker included.",
        "make_ground_point": "Once for each ground point.",
        "test_circuit": "Once for each circuit.",
    }
)
