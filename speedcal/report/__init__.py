"""The report as page, print and pictures, from one model; the road-test sheet and the correction card."""

from speedcal.report.building import build_model
from speedcal.report.charts import Pictures, draw_pictures
from speedcal.report.facts import DriveFacts, ReportFacts
from speedcal.report.html import render_html
from speedcal.report.model import ReportModel
from speedcal.report.pdf import render_card, render_pdf, render_picture
from speedcal.report.typesetting import Paper

__all__ = [
    "DriveFacts",
    "Paper",
    "Pictures",
    "ReportFacts",
    "ReportModel",
    "build_model",
    "draw_pictures",
    "render_card",
    "render_html",
    "render_pdf",
    "render_picture",
]
