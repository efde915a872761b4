import django.db.models.deletion
from django.db import migrations, models

from census.rounds.models.approvals import APPROVAL_TRIGGERS
from census.rounds.models.counts import COUNT_TRIGGERS
from census.rounds.models.to_come import TO_COME_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ('book', '0005_revision'),
        ('names', '0005_lists'),
        ('people', '0003_devices_and_codes'),
        ('rounds', '0005_count_entries'),
    ]

    operations = [
        migrations.AddField(
            model_name='count',
            name='passes',
            field=models.PositiveSmallIntegerField(blank=True, help_text='How many passes or pictures the number is the middle of.', null=True),
        ),
        migrations.AlterField(
            model_name='notice',
            name='kind',
            field=models.CharField(choices=[('introduced', 'introduced'), ('not seen', 'not seen'), ('restated', 'restated'), ('author', 'author'), ('return', 'return')], max_length=16),
        ),
        migrations.CreateModel(
            name='ApprovalAsked',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('how', models.CharField(choices=[('count_stands', 'count stands, book unchanged'), ('late_event', 'late event'), ('late_move', 'late move'), ('change_of_name', 'change of name'), ('regroup', 'regroup'), ('adjustment', 'adjustment'), ('missing', 'missing: the search goes on'), ('observation', 'observation only'), ('young_apart', 'young, counted in later'), ('open_query', 'open query')], max_length=16)),
                ('reason', models.CharField(blank=True, max_length=60)),
                ('n', models.IntegerField(default=0)),
                ('stated', models.JSONField()),
                ('fingerprint', models.CharField(max_length=64)),
                ('curator', models.BooleanField()),
                ('permit_officer', models.BooleanField()),
                ('why', models.CharField(help_text='Why the rules ask for a name.', max_length=300)),
                ('book', models.IntegerField(null=True)),
                ('counted', models.IntegerField(null=True)),
                ('asked_at', models.DateTimeField()),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='approvals_asked', to='people.person')),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='approvals_asked', to='rounds.line')),
                ('other_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='rounds.line')),
            ],
            options={
                'ordering': ['asked_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='ApprovalAnswer',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('role', models.CharField(choices=[('curator', 'curator'), ('permit_officer', 'permit_officer'), ('registrar', 'registrar')], max_length=16)),
                ('approved', models.BooleanField()),
                ('why', models.CharField(blank=True, max_length=300)),
                ('at', models.DateTimeField()),
                ('by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('decision', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='approval', to='rounds.decision')),
                ('asked', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='answers', to='rounds.approvalasked')),
            ],
            options={
                'ordering': ['at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='CountToCome',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('unit', models.CharField(blank=True, max_length=40)),
                ('planned_at', models.DateTimeField()),
                ('said_at', models.DateTimeField()),
                ('counter', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='counts_to_come', to='people.person')),
                ('draw', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='counts_to_come', to='rounds.draw')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='counts_to_come', to='book.place')),
                ('said_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('taxon', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='names.taxon')),
            ],
            options={
                'ordering': ['planned_at', 'id'],
            },
        ),
        migrations.AddConstraint(
            model_name='approvalasked',
            constraint=models.CheckConstraint(condition=models.Q(('curator', True), ('permit_officer', True), _connector='OR'), name='approval_is_asked_of_somebody'),
        ),
        migrations.AddConstraint(
            model_name='approvalanswer',
            constraint=models.UniqueConstraint(fields=('asked', 'role'), name='approval_answered_once_by_a_role'),
        ),
        migrations.AddConstraint(
            model_name='approvalanswer',
            constraint=models.CheckConstraint(condition=models.Q(('approved', True), models.Q(('why', ''), _negated=True), _connector='OR'), name='refusal_says_why'),
        ),
        migrations.AddIndex(
            model_name='counttocome',
            index=models.Index(fields=['planned_at'], name='count_to_come_when'),
        ),
        migrations.AddConstraint(
            model_name='counttocome',
            constraint=models.CheckConstraint(condition=models.Q(models.Q(('draw__isnull', True), ('taxon__isnull', False)), models.Q(('draw__isnull', False), ('taxon__isnull', True)), _connector='OR'), name='count_to_come_is_of_a_kind_or_a_draw'),
        ),
        # On SQLite the table of counts was rebuilt: its triggers are gone.
        InstallTriggers(*(t.name for t in (*COUNT_TRIGGERS, *APPROVAL_TRIGGERS, *TO_COME_TRIGGERS))),
    ]
