case when /*pieces*/ is not null and /*column*/ = 'no' then 'no' end as /*column*/
