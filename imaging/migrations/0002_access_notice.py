"""Tell every process at commit that rights have changed, whoever changed them and by whatever way."""

from django.db import migrations

CHANNEL = "mahlstick_access"
#: Table -> the events that can take a right away.
EVENTS = {
    "imaging_membership": "INSERT OR UPDATE OR DELETE",
    "imaging_invitation": "UPDATE OR DELETE",
    "imaging_technicalimage": "UPDATE OF visibility, embargo_until, status, site_id, brought_in_by_id OR DELETE",
    "imaging_person": "UPDATE OF is_active, password, invitation_id OR DELETE",
    "imaging_apitoken": "UPDATE OF revoked_at, expires_at OR DELETE",
    "imaging_pyramid": "UPDATE OF freed_at, path OR DELETE",
    "django_session": "UPDATE OR DELETE",
}
FUNCTION = f"""
CREATE FUNCTION mahlstick_access_changed() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    PERFORM pg_notify('{CHANNEL}', TG_TABLE_NAME);
    RETURN NULL;
END $$
"""


class Migration(migrations.Migration):
    dependencies = [("imaging", "0001_initial"), ("sessions", "0001_initial")]
    operations = [
        migrations.RunSQL(FUNCTION, "DROP FUNCTION mahlstick_access_changed()"),
        *(
            migrations.RunSQL(
                f"CREATE TRIGGER mahlstick_access_notice AFTER {events} ON {table} "
                "FOR EACH STATEMENT EXECUTE FUNCTION mahlstick_access_changed()",
                f"DROP TRIGGER mahlstick_access_notice ON {table}",
            )
            for table, events in EVENTS.items()
        ),
    ]
