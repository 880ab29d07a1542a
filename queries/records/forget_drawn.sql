-- Does: takes the name of a job off the slots and exclusions of trials; what was drawn stays drawn.
-- Parameters: job. Slot: table.
update records./*table*/ set job = null where job = $job
