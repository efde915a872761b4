import django.db.models.deletion
from django.db import migrations, models


class Migration(migrations.Migration):

    dependencies = [
        ('tankside', '0008_found_on_no_list'),
    ]

    operations = [
        migrations.CreateModel(
            name='FindingPost',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('next_try_at', models.DateTimeField(blank=True, help_text='When its message is tried next; empty: nothing is left to do.', null=True)),
                ('tries', models.PositiveSmallIntegerField(default=0, help_text='How often its message was tried.')),
                ('mailed_at', models.DateTimeField(blank=True, help_text='When its message went out.', null=True)),
                ('mail_trouble', models.CharField(blank=True, help_text='Why its message did not go out.', max_length=200)),
                ('finding', models.OneToOneField(help_text='The answer that is told.', on_delete=django.db.models.deletion.PROTECT, related_name='post', to='tankside.unlistedfinding')),
            ],
            options={
                'ordering': ['id'],
                'indexes': [models.Index(fields=['next_try_at'], name='finding_post')],
            },
        ),
    ]
