left join cells as /*alias*/ on /*alias*/.col = /*code*/ and /*alias*/.cell = raw_sheet./*column*/
