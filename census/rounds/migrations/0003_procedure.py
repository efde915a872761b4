import django.db.models.deletion
from django.db import migrations, models

from census.rounds.models.beside import BESIDE_TRIGGERS
from census.rounds.models.checks import CHECK_TRIGGERS
from inventory.db.triggers import InstallTriggers


class Migration(migrations.Migration):

    dependencies = [
        ('book', '0004_named_numbers_and_statements'),
        ('names', '0005_lists'),
        ('people', '0002_roles'),
        ('rounds', '0002_counts_are_kept'),
    ]

    operations = [
        migrations.AddField(
            model_name='sheet',
            name='planned_at',
            field=models.DateTimeField(blank=True, help_text='When it is to be counted; the quiet time begins before it.', null=True),
        ),
        migrations.CreateModel(
            name='Draw',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('what', models.CharField(choices=[('recount', 'lines that agree, counted again'), ('sample', 'sample test before signing'), ('inspection', 'sample test by an inspector')], max_length=16)),
                ('seed', models.CharField(max_length=64)),
                ('drawn_at', models.DateTimeField()),
                ('doubled', models.BooleanField(default=False, help_text='More than a tenth was wrong the time before.')),
                ('census', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='draws', to='rounds.census')),
                ('drawn_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='draws', to='people.person')),
            ],
            options={
                'ordering': ['drawn_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='DrawnLine',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('number', models.PositiveSmallIntegerField()),
                ('part', models.CharField(help_text='sheet, class A, list to floor, floor to list', max_length=16)),
                ('draw', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='lines', to='rounds.draw')),
                ('line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='drawn', to='rounds.line')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.place')),
            ],
            options={
                'ordering': ['draw', 'number'],
            },
        ),
        migrations.CreateModel(
            name='LinePicture',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('added_at', models.DateTimeField()),
                ('added_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('document', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.document')),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='pictures', to='rounds.line')),
            ],
            options={
                'ordering': ['added_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='NoSecondName',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('task', models.CharField(choices=[('second counter', 'second counter'), ('recount', 'recount'), ('second typing', 'second typing'), ('approval', 'approval')], max_length=20)),
                ('why', models.CharField(max_length=300)),
                ('stated_at', models.DateTimeField()),
                ('census', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='no_second_names', to='rounds.census')),
                ('line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='no_second_names', to='rounds.line')),
                ('sheet', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='no_second_names', to='rounds.sheet')),
                ('stated_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
            ],
            options={
                'ordering': ['stated_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Notice',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('kind', models.CharField(choices=[('introduced', 'introduced'), ('not seen', 'not seen'), ('restated', 'restated')], max_length=16)),
                ('role', models.CharField(max_length=20)),
                ('words', models.CharField(max_length=300)),
                ('raised_at', models.DateTimeField()),
                ('seen_at', models.DateTimeField(blank=True, null=True)),
                ('census', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='notices', to='rounds.census')),
                ('line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='notices', to='rounds.line')),
                ('raised_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('seen_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
            ],
            options={
                'ordering': ['raised_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='QuietMove',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('on_both_sheets', models.BooleanField()),
                ('note', models.CharField(blank=True, max_length=300)),
                ('said_at', models.DateTimeField()),
                ('event', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.event')),
                ('said_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('sheet', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='quiet_moves', to='rounds.sheet')),
            ],
            options={
                'ordering': ['said_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Restatement',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('why', models.CharField(max_length=300)),
                ('asked_at', models.DateTimeField()),
                ('approved_at', models.DateTimeField(blank=True, null=True)),
                ('refused', models.BooleanField(default=False)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('approved_by', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('asked_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('new_version', models.OneToOneField(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='restates', to='book.periodversion')),
                ('of_version', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='restatements', to='book.periodversion')),
                ('period', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='restatements', to='book.period')),
            ],
            options={
                'ordering': ['asked_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='Retyping',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('text', models.CharField(help_text='As it stands on the paper.', max_length=40)),
                ('agrees', models.BooleanField()),
                ('typed_at', models.DateTimeField()),
                ('count', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='retypings', to='rounds.count')),
                ('typed_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='retypings', to='people.person')),
            ],
            options={
                'ordering': ['typed_at', 'id'],
            },
        ),
        migrations.CreateModel(
            name='SampleResult',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('found', models.CharField(help_text='The number, or the animal found on the floor.', max_length=200)),
                ('book', models.IntegerField(null=True)),
                ('right', models.BooleanField()),
                ('counted_at', models.DateTimeField()),
                ('typed_at', models.DateTimeField()),
                ('note', models.CharField(blank=True, max_length=300)),
                ('counted_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='sample_results', to='people.person')),
                ('drawn', models.OneToOneField(on_delete=django.db.models.deletion.PROTECT, related_name='result', to='rounds.drawnline')),
            ],
        ),
        migrations.CreateModel(
            name='SpotCount',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('unit', models.CharField(max_length=40)),
                ('counted_at', models.DateTimeField()),
                ('value', models.PositiveIntegerField()),
                ('book', models.IntegerField()),
                ('note', models.CharField(blank=True, max_length=300)),
                ('typed_at', models.DateTimeField()),
                ('counter', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='spot_counts', to='people.person')),
                ('lots', models.ManyToManyField(related_name='spot_counts', to='book.lot')),
                ('place', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='spot_counts', to='book.place')),
                ('second', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='spot_counts_seconded', to='people.person')),
                ('taxon', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='spot_counts', to='names.taxon')),
            ],
            options={
                'ordering': ['-counted_at', '-id'],
            },
        ),
        migrations.CreateModel(
            name='WriteInFinding',
            fields=[
                ('id', models.BigAutoField(auto_created=True, primary_key=True, serialize=False, verbose_name='ID')),
                ('found_as', models.CharField(choices=[('other_name', 'already here under another name'), ('came_with', 'came with rock, kelp or animals'), ('settled', 'settled from sea water'), ('moved', 'moved here without a record'), ('introduced', 'introduced species')], max_length=12)),
                ('note', models.CharField(blank=True, max_length=300)),
                ('found_at', models.DateTimeField()),
                ('event', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.event')),
                ('found_by', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='+', to='people.person')),
                ('line', models.ForeignKey(on_delete=django.db.models.deletion.PROTECT, related_name='findings', to='rounds.line')),
                ('lot', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='book.lot')),
                ('other_line', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='rounds.line')),
                ('taxon', models.ForeignKey(blank=True, null=True, on_delete=django.db.models.deletion.PROTECT, related_name='+', to='names.taxon')),
            ],
            options={
                'ordering': ['id'],
            },
        ),
        migrations.AddConstraint(
            model_name='drawnline',
            constraint=models.UniqueConstraint(fields=('draw', 'number'), name='drawn_line_number_is_unique'),
        ),
        migrations.AddConstraint(
            model_name='drawnline',
            constraint=models.CheckConstraint(condition=models.Q(('line__isnull', False), ('part', 'floor to list'), _connector='OR'), name='drawn_line_has_a_line'),
        ),
        migrations.AddConstraint(
            model_name='linepicture',
            constraint=models.UniqueConstraint(fields=('line', 'document'), name='line_picture_once'),
        ),
        migrations.AddConstraint(
            model_name='nosecondname',
            constraint=models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='no_second_name_says_why'),
        ),
        migrations.AddIndex(
            model_name='notice',
            index=models.Index(fields=['role', 'seen_at'], name='notice_unseen'),
        ),
        migrations.AddConstraint(
            model_name='restatement',
            constraint=models.CheckConstraint(condition=models.Q(('why', ''), _negated=True), name='restatement_says_why'),
        ),
        migrations.AddConstraint(
            model_name='restatement',
            constraint=models.UniqueConstraint(condition=models.Q(('approved_at__isnull', True)), fields=('period',), name='restatement_one_waiting'),
        ),
        migrations.AddConstraint(
            model_name='spotcount',
            constraint=models.CheckConstraint(condition=models.Q(('second__isnull', False), models.Q(('note', ''), _negated=True), _connector='OR'), name='spot_count_second_or_why'),
        ),
        InstallTriggers(*(t.name for t in (*CHECK_TRIGGERS, *BESIDE_TRIGGERS))),
    ]
