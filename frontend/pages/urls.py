"""Addresses of the server-rendered pages."""

from django.urls import path

from frontend.pages import (
    artwork,
    bring_in,
    entering,
    examination,
    frames,
    images,
    jobs,
    people,
    registrations,
    storage,
    works,
)

__all__ = ["urlpatterns"]

urlpatterns = [
    path("", works.show_works, name="works"),
    path("works/<str:artwork_id>/", artwork.show_artwork, name="artwork"),
    path("works/<str:artwork_id>/correction/", entering.correct_artwork, name="work-correction"),
    path("works/<str:artwork_id>/faces", entering.add_work_face, name="work-faces"),
    path("works/<str:artwork_id>/bring-in/", bring_in.show_bring_in, name="bring-in"),
    path("faces/<str:face_id>/examine/", examination.show_examination, name="examine"),
    path("faces/<str:face_id>/frame/", frames.show_frame_setup, name="frame-setup"),
    path("frames/<str:frame_id>/correction", frames.correct_face_frame, name="frame-correction"),
    path("frames/<str:frame_id>", frames.show_frame, name="frame"),
    path("images/<str:image_id>/", images.show_image, name="image"),
    path("images/<str:image_id>/correction", images.correct_image_page, name="image-correction"),
    path("images/<str:image_id>/tone", images.change_image_tone, name="image-tone"),
    path("images/<str:image_id>/scale", images.lay_by_scale, name="lay-by-scale"),
    path("images/<str:image_id>/points/", registrations.show_points, name="points"),
    path("registrations/<str:registration_id>/", registrations.show_registration, name="registration"),
    path("registrations/<str:registration_id>/judge", registrations.judge_registration, name="registration-judge"),
    path("jobs/", jobs.show_jobs, name="jobs"),
    path("jobs/<str:job_id>", jobs.stop_or_repeat_job, name="job"),
    path("storage/", storage.show_storage, name="storage"),
    path("studies/", entering.enter_study, name="study-new"),
    path("studies/<str:study_id>/", people.show_study, name="study"),
    path("studies/<str:study_id>/works/", entering.enter_artwork, name="study-works"),
    path("studies/<str:study_id>/members", people.add_study_member, name="study-members"),
    path("studies/<str:study_id>/invitations", people.invite_study_guest, name="study-invitations"),
    path("memberships/<str:membership_id>", people.change_member, name="member"),
    path("invitations/<str:invitation_id>/end", people.end_invitation, name="invitation-end"),
    path("invited/<str:secret>/", people.enter_by_invitation, name="invited"),
    path("me/", people.show_me, name="me"),
    path("me/tokens", people.make_token, name="token-make"),
    path("me/tokens/<str:token_id>/end", people.end_token, name="token-end"),
]
