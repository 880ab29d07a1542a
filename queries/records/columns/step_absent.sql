case when b./*column*/ then '?' end as /*result*/
