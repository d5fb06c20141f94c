"""Sheets that the program writes: the call list and its companions, line items, problems, care."""

from __future__ import annotations

from dataclasses import replace

from scanner.schema.book_tables import PROBLEMS
from scanner.schema.log_tables import OUTCOMES
from scanner.sheets.call_paper import CALL_PAPER
from scanner.sheets.description import DAY, TEXT_LOOK, WORD, Column, Sheet, table_columns

CLIENT_ID = Column("client_id", look=TEXT_LOOK, width=11)
NAME = Column("name", width=24)
ADDRESS = Column("address", width=28)
STOP = Column("stop", width=6)
OFFER = Column("offer", width=34, is_wrapped=True)
REASON = Column("reason", width=60, is_wrapped=True)
CHANGE = Column("change", width=26)
SHARE_LOOK, FEET_LOOK = "0.0%", "#,##0"


def plain(names: str, *, look: str = "", is_folded: bool = False) -> tuple[Column, ...]:
    """Describe columns that need no word more."""
    return tuple(Column(name, look=look, is_folded=is_folded) for name in names.split())


FILL_IN = (
    Column("called_on", DAY, also=("called", "date_called", "call_date", "date_of_call"), is_filled_in=True),
    Column("outcome", WORD, choices=OUTCOMES, also=("result", "answer"), is_filled_in=True),
    Column("note", also=("notes", "comment", "comments"), width=36, is_filled_in=True, is_wrapped=True),
    Column("next_action", also=("next_step", "to_do"), width=24, is_filled_in=True),
    Column("next_date", DAY, also=("next_call", "call_again", "follow_up"), is_filled_in=True),
)  # fmt: skip
"""What people write into the call list; a row with none of it was not called."""

CALL_LIST = Sheet("Figures", (
    Column("rank", width=6), CLIENT_ID, NAME, ADDRESS, Column("phone", look=TEXT_LOOK, width=16),
    Column("email", width=24, is_folded=True), Column("mailing_address", width=28, is_folded=True), *plain("route mow_day"), STOP, Column("say", width=60, is_wrapped=True), OFFER,
    Column("bed_ids", width=30, is_folded=True), *plain("finish bed_count", is_folded=True),
    *plain("edge_ft area_ft2", look=FEET_LOOK, is_folded=True), *plain("crew_days", look="0.00"),
    *plain("price_usd price_low_usd price_high_usd"),
    *plain("price_mulch_usd price_accent_usd price_planted_usd price_gravel_usd", is_folded=True), *plain("gross_profit_usd", is_folded=True),
    *plain("price_over_annual", look="0.00"), *plain("chance", look=SHARE_LOOK),
    *plain("chance_low chance_high", look=SHARE_LOOK, is_folded=True),
    *plain("expected_profit_usd profit_per_crew_day_usd profit_per_selling_hour_usd", is_folded=True),
    *plain("upgrade upgrade_bed_ids upgrade_price_usd upgrade_saving_usd", is_folded=True),
    *plain("later later_jobs later_price_usd", is_folded=True),
    *plain("alike_clients", look=FEET_LOOK, is_folded=True), *plain("right_of_way_ft2", look=FEET_LOOK, is_folded=True),
    *plain("confirmed"), Column("reasons", width=60, is_wrapped=True),
    Column("cautions", width=60, is_wrapped=True), *plain("last_contact last_outcome"),
    Column("last_note", width=36, is_wrapped=True), Column("due_action", width=24), *plain("due_date"),
    *FILL_IN, CHANGE,
), needs=("client_id", "called_on", "outcome"), pages_wide=3, forms=(CALL_PAPER,))  # fmt: skip

ONCE_OURS = ("chance_calls",)
"""Columns that earlier versions wrote into the list."""

LEFT_OUT = Sheet("Left out", (
    CLIENT_ID, NAME, ADDRESS, *plain("route mow_day"), OFFER, REASON, CHANGE,
), needs=("client_id", "reason"))  # fmt: skip

ITEM_LIST = Sheet(
    "Line items", plain("offer_id bed_id finish task quantity unit rate_usd amount_usd rate_key")
)
RATE_LIST = Sheet("Rates", plain("rate_key value low high unit source"))
PROBLEM_LIST = Sheet("Problems", table_columns(PROBLEMS))

MAILING = Sheet("Letters", (
    CLIENT_ID, NAME, Column("mailing_address", width=34), Column("say", width=60, is_wrapped=True),
    *plain("price_usd good_until wave_on"),
    Column("sent_on", DAY, is_filled_in=True), Column("asked_on", DAY, is_filled_in=True),
), needs=("client_id", "sent_on"))  # fmt: skip
"""Letters of a promotion: when each was sent, and when the client asked for a visit, is filled in."""

UNSEEN = Sheet("To be seen", (
    *plain("route mow_day stop client_id name address bed_id along edge_ft area_ft2 price_usd to_look_at"),
), needs=("client_id", "to_look_at"))  # fmt: skip
"""A sheet that earlier versions wrote into the list."""

CARE = Sheet("Care", (
    Column("route", heading="route"), Column("mow_day", heading="day"), STOP, CLIENT_ID,
    replace(NAME, heading="client"), replace(ADDRESS, heading="where"), Column("beds", heading="beds"),
    Column("area_ft2", heading="ft²"), Column("mulch_yd3", heading="mulch yd³"),
    Column("weeding_hours", heading="weeding h"), Column("spreading_hours", heading="spreading h"),
    Column("price_usd", heading="price $"),
))  # fmt: skip

ORDER_LIST = Sheet(
    "Order", plain("material needed unit order sold_as needed_by job_id client_id name address")
)

JOB_TOLD = Sheet("Job", (
    Column("job_id", heading="job"), Column("task", heading="task"), Column("measure", heading="in"),
    Column("estimated", heading="estimated"), Column("actual", heading="actual"),
))  # fmt: skip

TASKS_COMPARED = Sheet("Tasks", (
    Column("task", heading="task"), Column("measure", heading="in"), Column("job_count", heading="jobs"),
    Column("estimated", heading="estimated"), Column("actual", heading="actual"),
    Column("ratio", heading="ratio"), Column("ratio_low", heading="at least"), Column("ratio_high", heading="at most"),
    Column("jobs_low", heading="8 jobs of 10 from"), Column("jobs_high", heading="to"),
    Column("rate_key"), Column("rate_now", heading="rate"), Column("rate_suggested", heading="suggested"),
    Column("verdict", heading="verdict"),
))  # fmt: skip
