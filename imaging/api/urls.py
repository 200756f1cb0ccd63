"""Addresses of the imaging API below /api/v1/."""

from django.urls import path

from imaging.api import artworks, frames, images, jobs, registrations, windows

__all__ = ["urlpatterns"]

urlpatterns = [
    path("studies/", artworks.StudyList.as_view(), name="study-list"),
    path("studies/<str:pk>", artworks.StudyDetail.as_view(), name="study-detail"),
    path("artworks/", artworks.ArtworkList.as_view(), name="artwork-list"),
    path("artworks/<str:pk>", artworks.ArtworkDetail.as_view(), name="artwork-detail"),
    path("faces/", artworks.FaceList.as_view(), name="face-list"),
    path("faces/<str:pk>", artworks.FaceDetail.as_view(), name="face-detail"),
    path("faces/<str:pk>/frames", frames.FaceFrames.as_view(), name="face-frames"),
    path("frames/", frames.FrameList.as_view(), name="frame-list"),
    path("frames/<str:pk>", frames.FrameDetail.as_view(), name="frame-detail"),
    path("frames/<str:pk>/corrections", frames.FrameCorrections.as_view(), name="frame-corrections"),
    path("campaigns/", artworks.CampaignList.as_view(), name="campaign-list"),
    path("campaigns/<str:pk>", artworks.CampaignDetail.as_view(), name="campaign-detail"),
    path("images/", images.ImageList.as_view(), name="image-list"),
    path("images/<str:pk>", images.ImageDetail.as_view(), name="image-detail"),
    path("images/<str:pk>/window", windows.ImageWindow.as_view(), name="image-window"),
    path("images/<str:pk>/registrations", registrations.ImageRegistrations.as_view(), name="image-registrations"),
    path("registrations/", registrations.RegistrationList.as_view(), name="registration-list"),
    path("registrations/<str:pk>", registrations.RegistrationDetail.as_view(), name="registration-detail"),
    path(
        "registrations/<str:pk>/judgement",
        registrations.RegistrationJudgement.as_view(),
        name="registration-judgement",
    ),
    path("jobs/", jobs.JobList.as_view(), name="job-list"),
    path("jobs/<str:pk>", jobs.JobDetail.as_view(), name="job-detail"),
    path("jobs/<str:pk>/cancellation", jobs.JobCancellation.as_view(), name="job-cancellation"),
    path("jobs/<str:pk>/retry", jobs.JobRetry.as_view(), name="job-retry"),
]
