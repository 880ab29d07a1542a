case when /*column*/ is not null then '/*token*/' else '' end, /*column*/
