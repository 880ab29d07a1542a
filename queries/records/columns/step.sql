case when t./*column*/ = '-' then null when t./*column*/ is not null then t./*column*/
  when b./*column*/ then '?' end as /*result*/
